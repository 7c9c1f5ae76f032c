"""Copies of the database that are consistent although others write meanwhile, and proved before they are kept.

Certificates, photos and uploaded files lie in the database, so that one file holds all there is. Beside it a small
file says what it holds; whoever restores it has that compared.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import sqlite3
from collections.abc import Iterator
from datetime import datetime
from hashlib import file_digest
from pathlib import Path
from typing import Any

from django.db import Error, connection

from kits.exchange.copies import postgresql
from kits.exchange.copies.proofs import DatabaseContents, read_contents, work_in
from kits.exchange.copies.refusals import CopyRefused

_DATED = re.compile(r"rebuild-bench-\d{4}-\d\d-\d\dT\d{6}\.(sqlite3|dump)")


def back_up(path: Path) -> str:
    """Copy the database into a new file that only its owner can read, and say what was written."""
    if not path.parent.is_dir():
        raise CopyRefused(f"there is no folder {path.parent}: make it, or name another.")
    connection.ensure_connection()
    _make_new(path)
    try:
        contents = _copy_sqlite(path) if connection.vendor == "sqlite" else _dump_postgresql(path)
        write_receipt(path, contents)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    size = max(1, path.stat().st_size // 1024)
    return f"Wrote {path}: {size:,} KB, checked. It holds {contents.says()}. manage.py restore puts it in place."


def back_up_into(folder: Path, at: datetime, keep: int | None) -> str:
    """Copy the database into a folder, under the moment's name; of such copies the newest ``keep`` stay."""
    if keep is not None and keep < 1:
        raise CopyRefused(f"{keep} copies cannot be kept: write 1 or more.")
    ending = "sqlite3" if connection.vendor == "sqlite" else "dump"
    says = back_up(folder / f"rebuild-bench-{at:%Y-%m-%dT%H%M%S}.{ending}")
    dated = sorted(path for path in folder.iterdir() if _DATED.fullmatch(path.name))
    old = dated[:-keep] if keep else []
    for path in old:
        path.unlink()
        receipt_of(path).unlink(missing_ok=True)
    return f"{says} Removed {len(old)} older." if old else says


def receipt_of(path: Path) -> Path:
    """The file that says what a copy holds."""
    return path.with_name(f"{path.name}.holds.json")


def write_receipt(path: Path, contents: DatabaseContents) -> None:
    """Write what a copy holds beside it, and by what its bytes are known."""
    receipt = receipt_of(path)
    receipt.unlink(missing_ok=True)
    with os.fdopen(os.open(receipt, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
        json.dump({"sha256": digest_of(path), **contents.as_dict()}, file, indent=1)


def read_receipt(path: Path) -> DatabaseContents | None:
    """What a copy held when it was made, if that lies beside it; refused where the copy is not as it was."""
    try:
        facts = json.loads(receipt_of(path).read_text(encoding="utf-8"))
        known, contents = facts.pop("sha256"), DatabaseContents(**facts)
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise CopyRefused(
            f"{receipt_of(path)} cannot be read: put its own back, or remove it to go without."
        ) from error
    if digest_of(path) != known:
        raise CopyRefused(f"{path} is not as it was when it was written: it is damaged or changed. Take another copy.")
    return contents


def digest_of(path: Path) -> str:
    """By what the bytes of a file are known."""
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()


def settings_to_look_at(path: Path) -> dict[str, Any]:
    """How a SQLite file is opened in which nothing may change."""
    return {"ENGINE": "django.db.backends.sqlite3", "NAME": f"{path.absolute().as_uri()}?mode=ro"}


def copy_file(source: sqlite3.Connection, path: Path) -> None:
    """Copy a SQLite database as it stands into a file that needs no other beside it, and check that it is sound."""
    try:
        with contextlib.closing(sqlite3.connect(path)) as copy:
            source.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE")
            (result,) = copy.execute("PRAGMA integrity_check").fetchone()
    except (sqlite3.Error, OSError) as error:
        raise CopyRefused(f"the copy could not be made ({error}): check the disk and its free space.") from error
    if result != "ok":
        raise CopyRefused(f"the copy is not sound ({result}): check the disk, and keep the last good copy.")


def _make_new(path: Path) -> None:
    try:
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    except FileExistsError as error:
        says = f"{path} exists already, and a copy never writes over another: name a new file."
        raise CopyRefused(says) from error
    except OSError as error:
        raise CopyRefused(f"{path} cannot be written ({error.strerror}): name another file.") from error


def _copy_sqlite(path: Path) -> DatabaseContents:
    copy_file(connection.connection, path)
    with work_in(settings_to_look_at(path)):
        return read_contents()


def _dump_postgresql(path: Path) -> DatabaseContents:
    with _unmoving() as snapshot:
        postgresql.dump(path, snapshot)
        return read_contents()


@contextlib.contextmanager
def _unmoving() -> Iterator[str]:
    """A connection of its own in which nothing moves any more, and the name under which others see the same."""
    own = connection.copy()
    try:
        own.set_autocommit(False)
        with own.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            cursor.execute("SELECT pg_export_snapshot()")
            (snapshot,) = cursor.fetchone()
        with work_in(own):
            yield str(snapshot)
        own.rollback()
    except Error as error:
        raise CopyRefused(f"the database could not be read ({str(error).strip()}): try again.") from error
    finally:
        own.close()
