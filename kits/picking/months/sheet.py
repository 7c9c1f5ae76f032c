"""The sheet of the storeroom in numbers: one month, and the months before it beside it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from kits.catalog.days.moments import start_of
from kits.picking.months.figures import FIGURES, Figure, MonthRow, scans_kept_since

MONTHS = 6
"""How many months stand beside each other."""


@dataclass(frozen=True, slots=True)
class Month:
    """One month, by its first day."""

    first_on: date

    @property
    def after(self) -> Month:
        """The next one."""
        return self.moved(1)

    @property
    def name(self) -> str:
        """As it stands in an address: 2026-11."""
        return f"{self.first_on:%Y-%m}"

    @property
    def says(self) -> str:
        """As one says it: November 2026."""
        return f"{self.first_on:%B %Y}"

    @property
    def short(self) -> str:
        """As it heads a column: Nov 2026."""
        return f"{self.first_on:%b %Y}"

    def moved(self, months: int) -> Month:
        """The month so many later, or earlier below 0."""
        number = self.first_on.year * 12 + self.first_on.month - 1 + months
        return Month(date(number // 12, number % 12 + 1, 1))


@dataclass(frozen=True, slots=True)
class FigureRow:
    """One figure, month by month; None where it was not kept yet."""

    figure: Figure
    numbers: tuple[int | None, ...]

    @property
    def last(self) -> int | None:
        """The number of the month that the sheet is about."""
        return self.numbers[-1]


@dataclass(frozen=True, slots=True)
class MonthSheet:
    """Some months side by side, the one asked for last; ``since`` is the day since which wrong scans are kept."""

    month: Month
    months: tuple[Month, ...]
    rows: tuple[FigureRow, ...]
    since: date | None

    def number(self, name: str) -> int:
        """A number of the month asked for."""
        return next(row.last or 0 for row in self.rows if row.figure.name == name)


def month_sheet(month: Month) -> MonthSheet:
    """The figures of a month and of those before it; one statement for each figure, two more for what aged."""
    months = tuple(month.moved(n) for n in range(1 - MONTHS, 1))
    since = scans_kept_since()
    return MonthSheet(month, months, tuple(_row(figure, months, since) for figure in FIGURES), since)


def month_rows(figure: Figure, month: Month) -> list[MonthRow]:
    """What a number of a month counts."""
    return list(figure.rows(start_of(month.first_on), start_of(month.after.first_on)))


def _row(figure: Figure, months: tuple[Month, ...], since: date | None) -> FigureRow:
    moments = figure.moments(start_of(months[0].first_on), start_of(months[-1].after.first_on))
    found = Counter(Month(timezone.localtime(at).date().replace(day=1)) for at in moments)
    return FigureRow(figure, tuple(None if _not_kept(figure, month, since) else found[month] for month in months))


def _not_kept(figure: Figure, month: Month, since: date | None) -> bool:
    return figure.name == "wrong" and (since is None or month.after.first_on <= since)
