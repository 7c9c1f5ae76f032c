"""How days, numbers, weeks, paper and sizes are written: one value for pages, prints and workbooks.

It follows the settings that were read last (`kits.catalog.queries.read_settings`), so that words need no settings of
their own and nothing is asked of the database while a page is written. What other programs read (JSON, the sheets of
lists) stays with ISO days and points.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.formats import reset_format_cache

DAY_MONTH, MONTH_DAY, YEAR_FIRST = "day month", "month day", "year first"
POINT, COMMA = "point", "comma"
A4, LETTER = "a4", "letter"
INCH, MM = "inch", "mm"
NARROW_SPACE = "\u202f"


@dataclass(frozen=True, slots=True)
class Formats:
    """How the shop writes. ``week_begins`` counts from Monday, 0; blank ``paper`` is the printer's, blank
    ``sizes_first`` the measure in which a size was written."""

    date_order: str = DAY_MONTH
    decimal_mark: str = POINT
    week_begins: int = 0
    paper: str = ""
    sizes_first: str = ""

    def in_full(self, on: date) -> str:
        """A day with its year."""
        if self.date_order == YEAR_FIRST:
            return on.isoformat()
        return f"{on:%b} {on.day}, {on.year}" if self.date_order == MONTH_DAY else f"{on.day} {on:%b %Y}"

    def in_short(self, on: date) -> str:
        """A day without its year; where the year goes first it never goes without."""
        if self.date_order == YEAR_FIRST:
            return on.isoformat()
        return f"{on:%b} {on.day}" if self.date_order == MONTH_DAY else f"{on.day} {on:%b}"

    def spelled_out(self, on: date) -> str:
        """A day in words, with its day of the week."""
        if self.date_order == MONTH_DAY:
            return f"{on:%A}, {on:%B} {on.day}, {on.year}"
        return f"{on:%A} {on.day} {on:%B} {on.year}"

    def number(self, figure: str) -> str:
        """A number that is written with a point, as the shop writes it."""
        return figure.replace(".", ",") if self.decimal_mark == COMMA else figure

    def week_of(self, on: date) -> date:
        """The first day of the week of a day."""
        return on - timedelta(days=(on.weekday() - self.week_begins) % 7)

    @property
    def separators(self) -> tuple[str, str]:
        """What stands before decimals, and between thousands."""
        return (",", NARROW_SPACE) if self.decimal_mark == COMMA else (".", ",")


_in_force = Formats()


def formats() -> Formats:
    """How the shop writes now."""
    return _in_force


def write_as(chosen: Formats) -> None:
    """Write so from now on, in this process."""
    global _in_force
    if chosen != _in_force:
        _in_force = chosen
        reset_format_cache()
