"""The working calendar: the coming months with the days on which the shop is closed, and what is built on which day."""

from __future__ import annotations

import calendar
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.values import ASKING_STAGES
from kits.catalog.days.words import in_full
from kits.catalog.formats.in_force import formats
from kits.catalog.models import Holiday

MONTHS = 12


@dataclass(frozen=True, slots=True)
class CalendarDay:
    """One day: ``pumps`` are built on it; ``closed`` says why nobody works, empty on a working day."""

    on: date
    closed: str
    pumps: int
    past: bool

    @property
    def says(self) -> str:
        """The day for those who do not see it."""
        built = f", {self.pumps} built" if self.pumps else ""
        return f"{in_full(self.on)}{f', {self.closed}' if self.closed else ''}{built}"


@dataclass(frozen=True, slots=True)
class CalendarMonth:
    """A month as weeks of seven days, Monday first; None where a day belongs to another month."""

    name: str
    weeks: tuple[tuple[CalendarDay | None, ...], ...]


@dataclass(frozen=True, slots=True)
class ClosedDay:
    """A day on which the shop is closed besides its week."""

    on: date
    name: str


@dataclass(frozen=True, slots=True)
class BuiltClosed:
    """A job that is to be built on a day on which nobody works."""

    job: str
    build_on: date
    closed: str


@dataclass(frozen=True, slots=True)
class CalendarSheet:
    """Everything that stands on the calendar."""

    as_of: date
    workdays: tuple[str, ...]
    months: tuple[CalendarMonth, ...]
    closed: tuple[ClosedDay, ...]
    built_closed: tuple[BuiltClosed, ...]

    @property
    def heads(self) -> tuple[str, ...]:
        """The days of a week, from the one with which the shop begins it."""
        return tuple(calendar.day_abbr[day] for day in calendar.Calendar(formats().week_begins).iterweekdays())


def calendar_sheet(plan: Plan) -> CalendarSheet:
    """The calendar from the month of today on; one statement."""
    today = plan.shop.as_of
    names = dict(Holiday.objects.order_by("date").values_list("date", "name"))
    open_jobs = [job for job in plan.shop.jobs if job.stage in ASKING_STAGES]
    pumps: Counter[date] = Counter()
    for job in open_jobs:
        pumps[job.build_on] += job.quantity

    def why_closed(on: date) -> str:
        if on in names:
            return names[on] or "closed"
        return "" if plan.shop.workdays[on.weekday()] else "no working day"

    def months() -> Iterator[CalendarMonth]:
        for ahead in range(MONTHS):
            year, month = today.year + (today.month - 1 + ahead) // 12, (today.month - 1 + ahead) % 12 + 1
            weeks = calendar.Calendar(formats().week_begins).monthdatescalendar(year, month)
            yield CalendarMonth(
                f"{date(year, month, 1):%B %Y}",
                tuple(
                    tuple(
                        CalendarDay(on, why_closed(on), pumps[on], on < today) if on.month == month else None
                        for on in week
                    )
                    for week in weeks
                ),
            )

    return CalendarSheet(
        as_of=today,
        workdays=tuple(calendar.day_name[place] for place, works in enumerate(plan.shop.workdays) if works),
        months=tuple(months()),
        closed=tuple(ClosedDay(on, name) for on, name in names.items() if on >= today),
        built_closed=tuple(
            BuiltClosed(job.job, job.build_on, closed)
            for job in sorted(open_jobs, key=lambda job: (job.build_on, job.job))
            if job.build_on >= today and (closed := why_closed(job.build_on))
        ),
    )
