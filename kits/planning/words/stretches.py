"""The stretch of days of one job: from the day on which its parts are here to the day on which it is built."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Stretch:
    """One job on the days of its sheet. ``parts_on`` is None when a lead time is not known."""

    mark: str
    parts_on: date | None
    build_on: date
    first_on: date
    last_on: date


def days_of_sheet(as_of: date, days: Iterable[date | None]) -> tuple[date, date]:
    """The first and last day that a sheet's drawings show, so that every stretch of it has the same scale."""
    known = [day for day in days if day is not None]
    return min([as_of, *known]), max([as_of, *known])
