"""Whether a site is up on a database: nothing is put in its place while somebody's posting could go to the old one.

Every web process holds a lock beside its database for as long as it lives, and whoever restores wants it for himself.
The system lets go of it when a process ends, however it ends, so that no mark is ever left behind. On SQLite it is the
lock of a small file of SQLite's own beside the database, on PostgreSQL an advisory lock of a connection that does
nothing else.
"""

from __future__ import annotations

import contextlib
import logging
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path
from threading import Event, Thread
from typing import Any

from django.db import Error, connection

LOCK_KEY = 4_127_033_561
"""By which the processes of this program know the lock on a PostgreSQL server; it is of one database there."""
LOOK_EVERY_SECONDS = 5.0

_log = logging.getLogger(__name__)


class SiteIsUp(Exception):
    """Somebody serves the site from this database, or is connected to it."""

    def __init__(self, who: str) -> None:
        super().__init__(f"{who}: stop every web process and command, and give the command again.")


class SiteIsClosed(Exception):
    """The database is being put in place."""

    def __init__(self) -> None:
        super().__init__("the database is being restored or moved by another command: wait until that has ended.")


@contextlib.contextmanager
def in_service() -> Iterator[None]:
    """Say that a web process serves from the database until this ends; refused while it is being put in place."""
    with _file_in_service() if connection.vendor == "sqlite" else _server_in_service():
        yield


@contextlib.contextmanager
def site_closed() -> Iterator[None]:
    """Keep every web process away until this ends; refused where one is up."""
    with _file_closed() if connection.vendor == "sqlite" else _server_closed():
        yield


def serve_until_the_end() -> None:
    """Say that this process serves from the database for as long as it lives; a database that is away may come back."""
    service = in_service()
    try:
        service.__enter__()
    except (Error, sqlite3.Error, OSError):
        _log.warning("It cannot be marked that the site is up: stop it yourself before a restore.", exc_info=True)
    else:
        _until_the_end.append(service)


_until_the_end: list[Any] = []


def database_file() -> Path:
    """The file of a SQLite database, also where it is named with how it is to be opened."""
    name = str(connection.settings_dict["NAME"])
    return Path(name.removeprefix("file:").partition("?")[0] if name.startswith("file:") else name).absolute()


def _open_lock() -> sqlite3.Connection:
    path = database_file()
    beside = path.with_name(f"{path.name}-served")
    beside.touch(mode=0o600)
    return sqlite3.connect(beside, timeout=0, isolation_level=None, check_same_thread=False)


@contextlib.contextmanager
def _file_in_service() -> Iterator[None]:
    with contextlib.closing(_open_lock()) as lock:
        try:
            lock.execute("BEGIN")
            lock.execute("SELECT count(*) FROM sqlite_master").fetchone()
        except sqlite3.OperationalError as error:
            if not _is_taken(error):
                raise
            raise SiteIsClosed from error
        yield


@contextlib.contextmanager
def _file_closed() -> Iterator[None]:
    with contextlib.closing(_open_lock()) as lock:
        try:
            lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            if not _is_taken(error):
                raise
            raise SiteIsUp("the site is up on this database") from error
        yield


def _is_taken(error: sqlite3.OperationalError) -> bool:
    return error.sqlite_errorname in {"SQLITE_BUSY", "SQLITE_LOCKED"}


@contextlib.contextmanager
def _server_in_service() -> Iterator[None]:
    own, ended = connection.copy(), Event()
    own.inc_thread_sharing()
    if not _lock_server(own, shared=True):
        own.close()
        raise SiteIsClosed
    keeper = Thread(target=_keep_lock, args=(own, ended), daemon=True, name="keeps the mark that the site is up")
    keeper.start()
    try:
        yield
    finally:
        ended.set()
        keeper.join()
        own.close()


def _keep_lock(own: Any, ended: Event) -> None:
    """Take the lock again after the server was away."""
    held = True
    while not ended.wait(LOOK_EVERY_SECONDS):
        try:
            if not held:
                held = _lock_server(own, shared=True)
            with own.cursor() as cursor:
                cursor.execute("SELECT 1")
        except Error:
            held = False
            with contextlib.suppress(Error):
                own.close()


def _lock_server(own: Any, *, shared: bool) -> bool:
    with own.cursor() as cursor:
        cursor.execute(f"SELECT pg_try_advisory_lock{'_shared' if shared else ''}(%s)", [LOCK_KEY])
        (taken,) = cursor.fetchone()
    return bool(taken)


@contextlib.contextmanager
def _server_closed() -> Iterator[None]:
    own = connection.copy()
    try:
        if not _lock_server(own, shared=False):
            raise SiteIsUp("the site is up on this database")
        connection.close()
        if others := _others_connected(own):
            raise SiteIsUp(f"{others} other connections to this database are open")
        yield
    finally:
        own.close()


def _others_connected(own: Any) -> int:
    """How many others are connected; one that has hung up is gone in a moment, and waited for."""
    for wait_seconds in (0.1, 0.4, 1.5, 0):
        with own.cursor() as cursor:
            cursor.execute(
                "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
                " AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
            )
            (others,) = cursor.fetchone()
        if not others:
            break
        time.sleep(wait_seconds)
    return int(others)
