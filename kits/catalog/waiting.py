"""What the database cannot do just now, and can again later: wait for another writer, be reached, or store more."""

from __future__ import annotations

import errno

from django.db import DatabaseError, InterfaceError, OperationalError

_GONE = (
    "SQLITE_CANTOPEN",
    "SQLITE_FULL",
    "SQLITE_IOERR",
    "SQLITE_NOMEM",
    "SQLITE_NOTADB",
    "SQLITE_PERM",
    "SQLITE_READONLY",
)
_OF_A_STANDBY = "25006"
"""What PostgreSQL calls a write where only reading is allowed."""
_NO_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EROFS})


def is_busy(error: BaseException) -> bool:
    """Whether SQLite gave up waiting for another writer; nothing of the transaction was stored then."""
    return isinstance(error, OperationalError) and _sqlite_name(error).startswith(("SQLITE_BUSY", "SQLITE_LOCKED"))


def is_away(error: BaseException) -> bool:
    """Whether the database cannot be reached or can store no more, by no fault of what was asked of it.

    SQLite calls a statement that it cannot read an operational error as well, which is a fault of ours.
    """
    if isinstance(error, OSError):
        return error.errno in _NO_ROOM
    if is_read_only(error):
        return True
    name = _sqlite_name(error)
    if name:
        return name.startswith(_GONE)
    return isinstance(error, (OperationalError, InterfaceError))


def is_read_only(error: BaseException) -> bool:
    """Whether something was to be written to a copy that follows another server, which can only be read."""
    return isinstance(error, DatabaseError) and getattr(error.__cause__, "sqlstate", "") == _OF_A_STANDBY


def _sqlite_name(error: BaseException) -> str:
    return str(getattr(error.__cause__, "sqlite_errorname", ""))
