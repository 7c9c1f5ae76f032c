"""How days stand in sentences and on pages: with their year wherever it is not today's."""

from __future__ import annotations

from datetime import date


def in_full(on: date) -> str:
    """A day with its year; so stands every last use, which is years off as often as not."""
    return f"{on.day} {on:%b %Y}"


def words_for_day(on: date, today: date) -> str:
    """A day, with its year if that is not today's."""
    return in_full(on) if on.year != today.year else f"{on.day} {on:%b}"
