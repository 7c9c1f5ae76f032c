"""A demo shop of its own, made and served by the commands of the README, in a folder that goes."""

import os
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path

TOP = Path(__file__).resolve().parents[1]
MANAGE = [sys.executable, str(TOP / "manage.py")]


def free_port() -> int:
    with socket.socket() as ear:
        ear.bind(("127.0.0.1", 0))
        return ear.getsockname()[1]


@cache
def made_demo() -> bytes:
    """The file of a demo shop as the command makes it."""
    with tempfile.TemporaryDirectory() as folder:
        making = [*MANAGE, "demo", "--out", f"{folder}/shortages.xlsx"]
        subprocess.run(making, env=_in(folder), check=True, capture_output=True)
        return Path(folder, "demo.sqlite3").read_bytes()


@contextmanager
def demo_site():
    """A served demo shop; its address."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "demo.sqlite3").write_bytes(made_demo())
        port = free_port()
        address = f"http://127.0.0.1:{port}"
        serving = [*MANAGE, "serve", "--listen", f"127.0.0.1:{port}"]
        server = subprocess.Popen(serving, env=_in(folder), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            for _ in range(120):
                with suppress(OSError):
                    urllib.request.urlopen(f"{address}/sign-in/")
                    break
                time.sleep(0.5)
            yield address
        finally:
            server.terminate()
            server.wait()


def _in(folder: str) -> dict[str, str]:
    return os.environ | {"DATABASE_URL": f"sqlite:///{folder}/demo.sqlite3", "SHOP_FILE": ""}
