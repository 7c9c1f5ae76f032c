"""What really comes of the build days of a plan: a job is built when its parts are here and a bench is free."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.structure.arrays import as_date

UNKNOWN_DAYS = 260
"""So many working days late, a year, counts a job of whose parts nobody knows when they come."""


@dataclass(frozen=True, slots=True)
class JobOutcome:
    """What comes of one job: the day on which it can be built, None when unknown, and its working days late.

    ``weight`` is that of its priority. It is late against the day that was promised, whatever its build day is now.
    """

    job: str
    weight: int
    built_on: date | None
    days_late: int


@dataclass(frozen=True, slots=True)
class DaysOutcome:
    """What comes of all jobs of a plan that ask for parts, by name."""

    jobs: Mapping[str, JobOutcome]

    @property
    def on_time(self) -> int:
        """How many jobs are built by their promised day."""
        return sum(not job.days_late for job in self.jobs.values())

    @property
    def weight_on_time(self) -> int:
        """What these weigh together."""
        return sum(job.weight for job in self.jobs.values() if not job.days_late)

    @property
    def days_late(self) -> int:
        """Working days late of all jobs together of which the day is known."""
        return sum(job.days_late for job in self.jobs.values() if job.built_on)

    @property
    def unknown(self) -> int:
        """Of how many jobs nobody knows the day."""
        return sum(job.built_on is None for job in self.jobs.values())

    @property
    def weighted_days_late(self) -> int:
        """Those of all jobs, the days of each times its weight; one whose day is unknown is a year late."""
        return sum(job.days_late * job.weight for job in self.jobs.values())

    @property
    def rank(self) -> tuple[int, int]:
        """The order from bad to good: first the weight on time, then the weighted days late."""
        return self.weight_on_time, -self.weighted_days_late


class Days:
    """The shop's working days from today on, numbered from 0; days before today have numbers below 0."""

    def __init__(self, plan: Plan) -> None:
        self.calendar = plan.calendar
        self.first = plan.calendar.on_or_after(as_date(plan.as_of))
        self._numbers: dict[date, int] = {}

    def number(self, on: date) -> int:
        """The number of a day; a day on which the shop is closed has that of the next working day.

        Parameters
        ----------
        on : the day
        """
        if on not in self._numbers:
            ahead = on >= self.first
            self._numbers[on] = (
                self.calendar.between(self.first, on) if ahead else -self.calendar.between(on, self.first)
            )
        return self._numbers[on]

    def day(self, number: int) -> date:
        """The day of a number from 0 up.

        Parameters
        ----------
        number : working days from today
        """
        return self.calendar.forward(self.first, number)


def outcome(
    plan: Plan, promised: Mapping[str, date], weights: Mapping[str, int], pumps_a_day: int | None = None
) -> DaysOutcome:
    """Work out when each job can really be built, and how late that is.

    Whoever is ready first has the first free bench; of those that are ready on one day a pump that is being built, then
    whoever has the earlier build day, the higher priority and the lower number.

    Parameters
    ----------
    plan : the finished plan
    promised : the day that was promised, by job
    weights : weight, by job
    pumps_a_day : how many pumps can be built in a day, None when nothing limits it; a job of more takes a day alone
    """
    days = Days(plan)
    waiting = []
    found: dict[str, JobOutcome] = {}
    for asker, answer in zip(plan.demand.askers, plan.answers, strict=True):
        if asker.job is None:
            continue
        if answer.parts_on is None:
            found[asker.name] = JobOutcome(asker.name, weights[asker.name], None, UNKNOWN_DAYS)
            continue
        build = max(0, days.number(as_date(asker.build_day)))
        ready = build
        if answer.days_late:
            ready = days.number(plan.calendar.forward(as_date(answer.parts_on), plan.shop.staging_days))
        is_new = asker.job.stage != "building"
        waiting.append((ready, is_new, build, asker.priority, asker.name, asker.job.quantity))
    taken: dict[int, int] = defaultdict(int)
    for ready, _, _, _, name, pumps in sorted(waiting):
        on = ready
        while pumps_a_day and taken[on] and taken[on] + pumps > pumps_a_day:
            on += 1
        taken[on] += pumps
        late = max(0, on - days.number(promised[name]))
        found[name] = JobOutcome(name, weights[name], days.day(on), late)
    return DaysOutcome(found)
