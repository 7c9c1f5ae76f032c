"""Throw-away servers of our own, PostgreSQL and a cache: nothing is shared with other runs, and nothing stays."""

import os
import shutil
import socket
import subprocess
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

QUICK = "-c fsync=off -c synchronous_commit=off -c full_page_writes=off -c work_mem=256MB -c shared_buffers=512MB"
LIKE_A_SHOP = "-c shared_buffers=512MB"
"""Else as PostgreSQL comes: what was confirmed is on the disk."""


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


class Cluster:
    """A PostgreSQL server in a folder of its own, which may be stopped and started, and copied while it works."""

    def __init__(self, place, options=QUICK):
        self.place, self.options, self.port = Path(place), options, free_port()
        if os.geteuid() == 0:  # the server refuses to run as root
            shutil.chown(self.place, "postgres")

    @property
    def address(self):
        return f"postgresql://postgres@127.0.0.1:{self.port}/postgres"

    @property
    def data(self):
        return self.place / "data"

    @property
    def pid(self):
        return int((self.data / "postmaster.pid").read_text().split()[0])

    def make(self):
        """An empty one."""
        self._run("initdb", f"-D {self.data} -A trust -U postgres --no-sync -E UTF8 --locale=C.UTF-8")

    def copy_working(self, source):
        """A standby of one that works, which it follows from now on."""
        self._run("pg_basebackup", f"-D {self.data} -h 127.0.0.1 -p {source.port} -U postgres -R -X stream -c fast")

    def start(self):
        listening = f"-p {self.port} -k {self.place} -c listen_addresses=127.0.0.1 {self.options}"
        self._run("pg_ctl", f"-D {self.data} -o '{listening}' -l {self.place}/log -w start")

    def stop(self, how="immediate"):
        self._run("pg_ctl", f"-D {self.data} -m {how} -w stop")

    def promote(self):
        self._run("pg_ctl", f"-D {self.data} -w promote")

    def _run(self, program, said):
        command = f"{_programs()}/{program} {said}"
        whole = ["su", "postgres", "-c", command] if os.geteuid() == 0 else ["sh", "-c", command]
        subprocess.run(whole, check=True, stdout=subprocess.DEVNULL, cwd="/")


@contextmanager
def private_cluster(options=QUICK, like=None, of=None):
    """A server that lives as long as the block: empty, with the files of a stopped one, or the standby of one."""
    place = Path(tempfile.mkdtemp(prefix="benchmark-server-"))
    try:
        cluster = Cluster(place, options)
        if of:
            cluster.copy_working(of)
        elif like:
            subprocess.run(["cp", "-a", like, cluster.data], check=True)
        else:
            cluster.make()
        cluster.start()
        try:
            yield cluster
        finally:
            if (cluster.data / "postmaster.pid").exists():
                cluster.stop()
    finally:
        shutil.rmtree(place, ignore_errors=True)


@contextmanager
def private_server():
    """The address of an empty server that lives as long as the block."""
    with private_cluster() as cluster:
        yield cluster.address


def _programs():
    """The folder with initdb, of the newest version."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[4].split(".")[0]))
    named = shutil.which("initdb")
    return found[-1].parent if found else Path(named).parent if named else None


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]
