"""How days stand in sentences and on pages: with their year wherever it is not today's."""

from __future__ import annotations

from datetime import date

from kits.catalog.formats.in_force import formats


def in_full(on: date) -> str:
    """A day with its year; so stands every last use, which is years off as often as not."""
    return formats().in_full(on)


def words_for_day(on: date, today: date) -> str:
    """A day, with its year if that is not today's."""
    return in_full(on) if on.year != today.year else formats().in_short(on)
