"""Days read by the ten thousand: most of them are equal, and SQLite keeps them as texts."""

from __future__ import annotations

from datetime import date
from functools import lru_cache

from django.db import connection
from django.db.models import CharField, F
from django.db.models.functions import Cast

ReadDay = date | str | None
"""A day as it comes from the database: from SQLite its text, so that each distinct one is turned into a date once."""


def day_of(column: str) -> Cast | F:
    """Return what reads a column of days for `to_day`."""
    return Cast(column, CharField()) if connection.vendor == "sqlite" else F(column)


@lru_cache(maxsize=1 << 16)
def to_day(read: ReadDay) -> date | None:
    """Return the date of a day that was read."""
    return date.fromisoformat(read) if isinstance(read, str) else read
