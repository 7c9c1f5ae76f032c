"""Copies of the database that are consistent although others write meanwhile, and proved before they are kept."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
from pathlib import Path

from django.db import connection


class BackupRefused(Exception):
    """No copy was made: why, and what to do."""


def back_up(path: Path) -> str:
    """Copy the database into a new file that only its owner can read, and say what was written."""
    if not path.parent.is_dir():
        raise BackupRefused(f"there is no folder {path.parent}: make it, or name another.")
    connection.ensure_connection()
    try:
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    except FileExistsError as error:
        says = f"{path} exists already, and a copy never writes over another: name a new file."
        raise BackupRefused(says) from error
    except OSError as error:
        raise BackupRefused(f"{path} cannot be written ({error.strerror}): name another file.") from error
    try:
        return _copy_sqlite(path) if connection.vendor == "sqlite" else _dump_postgresql(path)
    except BaseException:
        path.unlink(missing_ok=True)
        raise


def _copy_sqlite(path: Path) -> str:
    source: sqlite3.Connection = connection.connection
    try:
        copy = sqlite3.connect(path)
        try:
            source.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE")
            (result,) = copy.execute("PRAGMA integrity_check").fetchone()
            (tables,) = copy.execute("SELECT count(*) FROM sqlite_master WHERE type = 'table'").fetchone()
        finally:
            copy.close()
    except (sqlite3.Error, OSError) as error:
        raise BackupRefused(f"the copy could not be made ({error}): check the disk and its free space.") from error
    if result != "ok":
        raise BackupRefused(f"the copy is not sound ({result}): check the disk, and keep the last good copy.")
    size = path.stat().st_size // 1024
    return f"Wrote {path}: {tables} tables, {size} KB, checked. To use it, put it in place of the database file."


def _dump_postgresql(path: Path) -> str:
    program = shutil.which("pg_dump")
    if program is None:
        raise BackupRefused("pg_dump is not installed on this machine: install the PostgreSQL client programs.")
    facts = connection.get_connection_params()
    environment = {**os.environ}
    for variable, name in (("PGHOST", "host"), ("PGPORT", "port"), ("PGUSER", "user"), ("PGPASSWORD", "password")):
        if facts.get(name):
            environment[variable] = str(facts[name])
    command = [program, "--format=custom", "--no-owner", f"--file={path}", str(facts["dbname"])]
    finished = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    if finished.returncode:
        raise BackupRefused(f"pg_dump failed: {finished.stderr.strip().splitlines()[-1:] or ['no message']}")
    return f"Wrote {path}: {path.stat().st_size // 1024} KB. To use it, give it to pg_restore."
