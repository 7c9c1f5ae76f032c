"""How many pumps are built a day, week by week, against what the benches do in a day."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from bom.plan import Plan
from bom.values import ASKING_STAGES
from kits.catalog.formats.in_force import formats
from kits.planning.words.states import plural

WEEK = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class BuildDay:
    """One day: how many pumps are built, how many of them are more than the benches do.

    ``closed`` says that nobody works, ``holiday`` that it is so besides the week.
    """

    on: date
    pumps: int
    over: int
    closed: bool
    holiday: bool
    past: bool

    @property
    def weekday(self) -> str:
        """The day of the week."""
        return f"{self.on:%a}"

    @property
    def says(self) -> str:
        """What is odd about the day, in words."""
        if self.closed:
            return "closed, and something is built" if self.pumps else "closed"
        return f"{self.over} over" if self.over else ""


@dataclass(frozen=True, slots=True)
class BuildWeek:
    """Seven days, Monday first; ``benches`` is what they do a day, None where nothing says so."""

    days: tuple[BuildDay, ...]
    benches: int | None
    tallest: int


@dataclass(frozen=True, slots=True)
class BuildWeeks:
    """Some weeks that follow each other, what they come to, and whether weeks with builds follow."""

    weeks: tuple[BuildWeek, ...]
    benches: int | None
    says: str
    last: int


def build_weeks(plan: Plan, benches: int | None, count: int, skip: int = 0) -> BuildWeeks:
    """So many weeks from this one on, after ``skip`` of them; ``last`` is how many there are in all."""
    pumps: Counter[date] = Counter()
    for job in plan.shop.jobs:
        if job.stage in ASKING_STAGES:
            pumps[job.build_on] += job.quantity
    monday = formats().week_of(plan.shop.as_of)
    ahead = [on for on in pumps if on >= monday]
    last = ((max(ahead) - monday).days // 7 + 1) if ahead else 1
    shown = range(skip, min(skip + count, max(last, count)))
    days = [
        [_day(plan, pumps, monday + week * WEEK + timedelta(days=day), benches) for day in range(7)] for week in shown
    ]
    tallest = max([benches or 0, 1, *(day.pumps for week in days for day in week)])
    weeks = tuple(BuildWeek(tuple(week), benches, tallest) for week in days)
    return BuildWeeks(weeks, benches, _says(weeks, benches, sum(pumps[on] for on in pumps if on < monday)), last)


def _day(plan: Plan, pumps: Mapping[date, int], on: date, benches: int | None) -> BuildDay:
    built = pumps.get(on, 0)
    return BuildDay(
        on=on,
        pumps=built,
        over=max(0, built - benches) if benches else 0,
        closed=on in plan.shop.holidays or not plan.shop.workdays[on.weekday()],
        holiday=on in plan.shop.holidays,
        past=on < plan.shop.as_of,
    )


def _says(weeks: tuple[BuildWeek, ...], benches: int | None, before: int) -> str:
    days = [day for week in weeks for day in week.days]
    built = [day for day in days if day.pumps]
    pumps = sum(day.pumps for day in built)
    said = [f"{plural(pumps, 'pump')} on {plural(len(built), 'day')}" if pumps else "no pump"]
    if benches:
        over = sum(bool(day.over) and not day.closed for day in days)
        said.append(f"{plural(over, 'day')} over the {benches} that the benches do" if over else "no day is too full")
    if odd := sum(day.closed for day in built):
        said.append(f"something is built on {plural(odd, 'closed day')}")
    if before:
        said.append(f"{plural(before, 'pump')} should have been built before")
    return "; ".join(said)
