"""A copy put in the place of the database: looked at first, compared with what it held, wholly or not at all."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from datetime import date, datetime
from pathlib import Path

from django.core.management import call_command
from django.db import DatabaseError, connection

from kits.exchange.copies import postgresql
from kits.exchange.copies.backups import back_up, copy_file, read_receipt, settings_to_look_at
from kits.exchange.copies.in_service import database_file, site_closed
from kits.exchange.copies.proofs import (
    DatabaseContents,
    applied_migrations,
    count_rows,
    differences,
    differing_rows,
    read_contents,
    steps_of_a_newer_version,
    work_in,
)
from kits.exchange.copies.refusals import CopyRefused
from kits.people.models import User
from kits.people.roles import SHOP_APPS

_SQLITE, _POSTGRESQL = b"SQLite format 3\x00", b"PGDMP"


def restore(path: Path, at: datetime, *, replace: bool) -> str:
    """Put a copy in the place of the database, and say what it holds and where the old one is kept."""
    _refuse_other_kinds(path)
    receipt = read_receipt(path)
    with site_closed():
        if not replace:
            _refuse_a_shop()
        put = _restore_sqlite if connection.vendor == "sqlite" else _restore_postgresql
        contents, kept = put(path, receipt, at)
    compared = "the same as when it was written" if receipt else "nothing beside it says what it held"
    return f"Restored {path}: {contents.says()}; {compared}.{kept}"


def _refuse_a_shop() -> None:
    try:
        held = f"holds {count:,} row{'' if count == 1 else 's'} already" if (count := rows_of_a_shop()) else ""
    except DatabaseError as error:
        if connection.vendor != "sqlite":
            raise
        held = f"cannot be read ({str(error).strip()})"
    if held:
        raise CopyRefused(
            f"the database {held}: add --replace to put the copy in its place. What is there now is kept beside it."
        )


def rows_of_a_shop() -> int:
    """How many rows the database holds besides those that its tables come with."""
    tables = tuple(f"{app}_" for app in SHOP_APPS)
    people = User._meta.db_table
    return sum(count for table, count in count_rows().items() if table == people or table.startswith(tables))


def _refuse_other_kinds(path: Path) -> None:
    try:
        with path.open("rb") as file:
            begins = file.read(len(_SQLITE))
    except OSError as error:
        raise CopyRefused(f"{path} cannot be read ({error.strerror}): name the file of a copy.") from error
    found = "sqlite" if begins == _SQLITE else "postgresql" if begins.startswith(_POSTGRESQL) else ""
    if not found:
        raise CopyRefused(f"{path} is no copy of a database: name a file that manage.py backup wrote.")
    if found != connection.vendor:
        kinds = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}
        raise CopyRefused(
            f"{path} is of {kinds[found]}, and DATABASE_URL names {kinds[connection.vendor]}: "
            f"restore it to {kinds[found]}, then give manage.py move_to the other address."
        )


def _restore_sqlite(path: Path, receipt: DatabaseContents | None, at: datetime) -> tuple[DatabaseContents, str]:
    place = database_file()
    made = place.with_name(f"{place.name}-restoring")
    _remove(made)
    try:
        os.close(os.open(made, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
        # Opened to be written: a database whose process was killed takes in what lies in its write-ahead log.
        with contextlib.closing(sqlite3.connect(path)) as source:
            copy_file(source, made)
        with work_in(settings_to_look_at(made)):
            counted, applied = count_rows(), applied_migrations()
        _refuse_newer(applied)
        with work_in({"ENGINE": "django.db.backends.sqlite3", "NAME": str(made)}):
            contents = _compare(receipt, counted, applied)
    except BaseException:
        _remove(made)
        raise
    connection.close()
    kept = _put_aside(place, at)
    os.replace(made, place)
    return contents, kept


def _put_aside(place: Path, at: datetime) -> str:
    """Move the old database out of the way with its write-ahead log, so that the new one never meets that."""
    if not place.exists():
        _remove(place)
        return ""
    aside = place.with_name(f"{place.name}-before-{at:%Y-%m-%dT%H%M%S}")
    with contextlib.suppress(sqlite3.DatabaseError), contextlib.closing(sqlite3.connect(place, timeout=5)) as old:
        try:
            old.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorname == "SQLITE_BUSY":
                raise CopyRefused("somebody is writing to the database: stop that, and try again.") from error
    for more in ("-wal", "-shm", "-journal", ""):
        with contextlib.suppress(FileNotFoundError):
            os.replace(f"{place}{more}", f"{aside}{more}")
    return f" What was there is kept as {aside}."


def _remove(place: Path) -> None:
    for more in ("-wal", "-shm", "-journal", ""):
        Path(f"{place}{more}").unlink(missing_ok=True)


def _restore_postgresql(path: Path, receipt: DatabaseContents | None, at: datetime) -> tuple[DatabaseContents, str]:
    applied = postgresql.migrations_in(path)
    _refuse_newer(applied)
    kept = ""
    if rows_of_a_shop():
        aside = path.with_name(f"{path.stem}-before-{at:%Y-%m-%dT%H%M%S}.dump")
        back_up(aside)
        kept = f" What was there is kept as {aside}."
    postgresql.replace_all(path)
    connection.close()
    try:
        return _compare(receipt, count_rows(), applied), kept
    except CopyRefused as error:
        raise CopyRefused(f"{error} The copy is in place and is not to be worked with.{kept}") from error


def _refuse_newer(applied: list[str]) -> None:
    if newer := steps_of_a_newer_version(applied):
        raise CopyRefused(
            f"the copy was written by a newer version, and this one does not know its step {newer[0]}: restore it with "
            "that version."
        )
    if not applied:
        raise CopyRefused("the file holds no database of this program: name a file that manage.py backup wrote.")


def _compare(receipt: DatabaseContents | None, counted: dict[str, int], applied: list[str]) -> DatabaseContents:
    """Compare what is there with what the copy held; a copy of an older version is brought up to this one."""
    if receipt and (said := differing_rows(receipt.rows, counted)):
        raise CopyRefused(" ".join(said))
    call_command("migrate", verbosity=0)
    contents = read_contents(date.fromisoformat(receipt.as_of) if receipt else None)
    if receipt and applied == applied_migrations() and (said := differences(receipt, contents)):
        raise CopyRefused(" ".join(said))
    return contents
