"""How days and spans stand in sentences and on pages: a day with its year wherever it is not today's."""

from __future__ import annotations

import re
from datetime import date

from kits.catalog.formats.in_force import formats


def in_full(on: date) -> str:
    """A day with its year; so stands every last use, which is years off as often as not."""
    return formats().in_full(on)


def words_for_day(on: date, today: date) -> str:
    """A day, with its year if that is not today's."""
    return in_full(on) if on.year != today.year else formats().in_short(on)


def span_of(months: int) -> str:
    """So many months as one speaks of them: 6 months, 1 year, 2 years 6 months."""
    spans = zip(divmod(months, 12), ("year", "month"), strict=True)
    return " ".join(f"{count} {word}{'' if count == 1 else 's'}" for count, word in spans if count)


def least_life(written: str) -> str:
    """The least life at receipt in words, where it is written in months, as ``24 m``; a share of it as it stands."""
    months = re.fullmatch(r"(\d+)\s*m", written.strip(), re.IGNORECASE)
    return span_of(int(months[1])) if months else written
