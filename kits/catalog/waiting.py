"""Waiting for others who write: SQLite lets one write at a time, and gives up after a while."""

from __future__ import annotations

from django.db import OperationalError


def is_busy(error: BaseException) -> bool:
    """Whether SQLite gave up waiting for another writer; nothing of the transaction was stored then."""
    name = getattr(error.__cause__, "sqlite_errorname", "")
    return isinstance(error, OperationalError) and name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED"))
