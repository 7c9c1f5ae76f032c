"""Throw-away servers of our own, PostgreSQL and a cache: nothing is shared with other runs, and nothing stays."""

import os
import shutil
import socket
import subprocess
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

OPTIONS = "-c fsync=off -c synchronous_commit=off -c full_page_writes=off -c work_mem=256MB -c shared_buffers=512MB"


def why_not():
    """What is missing for a server, in words; empty when nothing is."""
    if _programs() is None:
        return "PostgreSQL is not installed here (no initdb found)"
    try:
        import psycopg  # noqa: F401
    except ImportError:
        return "psycopg is not installed here"
    return ""


CACHE_SERVER = shutil.which("valkey-server") or shutil.which("redis-server")


@contextmanager
def private_cache():
    """The address of a cache server that lives as long as the block, listens to a file and stores nothing; itself."""
    place = Path(tempfile.mkdtemp(prefix="cache-server-"))
    socket_file = place / "cache.sock"
    options = ["--port", "0", "--unixsocket", str(socket_file), "--save", "", "--appendonly", "no"]
    running = subprocess.Popen([CACHE_SERVER, *options], cwd=place, stdout=subprocess.DEVNULL)
    try:
        while not socket_file.exists():
            if running.poll() is not None:
                raise RuntimeError("the cache server did not start")
            time.sleep(0.05)
        yield f"unix://{socket_file}", running
    finally:
        running.terminate()
        running.wait(20)
        shutil.rmtree(place)


@contextmanager
def private_server():
    """The address of a server that lives as long as the block."""
    programs, port = _programs(), free_port()
    place = Path(tempfile.mkdtemp(prefix="benchmark-server-"))
    try:
        if os.geteuid() == 0:  # the server refuses to run as root
            shutil.chown(place, "postgres")
        data = place / "data"
        _run(f"{programs}/initdb -D {data} -A trust -U postgres --no-sync -E UTF8 --locale=C.UTF-8")
        listening = f"-p {port} -k {place} -c listen_addresses=127.0.0.1 {OPTIONS}"
        _run(f"{programs}/pg_ctl -D {data} -o '{listening}' -l {place}/log -w start")
        try:
            yield f"postgresql://postgres@127.0.0.1:{port}/postgres"
        finally:
            _run(f"{programs}/pg_ctl -D {data} -m immediate stop")
    finally:
        shutil.rmtree(place, ignore_errors=True)


def _run(command):
    whole = ["su", "postgres", "-c", command] if os.geteuid() == 0 else ["sh", "-c", command]
    subprocess.run(whole, check=True, stdout=subprocess.DEVNULL, cwd="/")


def _programs():
    """The folder with initdb, of the newest version."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[4].split(".")[0]))
    named = shutil.which("initdb")
    return found[-1].parent if found else Path(named).parent if named else None


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]
