"""The jobs of one week: which were planned in it, which were built, and why the others were not."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Sum
from django.utils import timezone

from bom.plan import Plan
from kits.catalog.days.moments import start_of
from kits.catalog.days.words import words_for_day
from kits.people.names import name_of
from kits.planning.models import KeptAnswer
from kits.planning.weeks.answers import Answers, JobAnswer, answers_at_start_of, answers_of
from kits.planning.weeks.costs import Cost, PartCosts
from kits.schedule.models import Job, JobChange, JobStep
from kits.schedule.stages import DONE, TO_BUILD
from kits.schedule.words import Stage
from kits.stock.models import Movement
from kits.stock.words import PostingKind

NO_REASON = "no reason is on record"


@dataclass(frozen=True, slots=True)
class Week:
    """A week from its Monday to its Sunday, as days and as moments."""

    first_on: date

    @property
    def last_on(self) -> date:
        """Its Sunday."""
        return self.first_on + timedelta(days=6)

    @property
    def begins_at(self) -> datetime:
        """The moment at which it begins."""
        return start_of(self.first_on)

    @property
    def ends_at(self) -> datetime:
        """The moment at which the next one begins."""
        return start_of(self.first_on + timedelta(days=7))

    def holds(self, on: date) -> bool:
        """Whether a day lies in it."""
        return self.first_on <= on <= self.last_on


@dataclass(frozen=True, slots=True)
class WeekJob:
    """A job of the week. ``planned_on`` is None where it was built besides, ``built_on`` where it was not built in it.

    ``planned`` is what its parts were planned to cost, None where no answers were kept before it was built; ``used``
    what was used up in it.
    """

    job: str
    pump: str
    scope: str
    customer: str
    serial: str
    planned_on: date | None
    built_on: date | None
    on_its_day: bool
    why_not: str
    planned: Cost | None
    used: Cost | None


@dataclass(frozen=True, slots=True)
class Closing:
    """When the parts of a job were closed, and what was said where something was open then."""

    on: date
    says: str


class WeekJobs:
    """Reads the jobs of one week, in a fixed number of statements."""

    def __init__(self, plan: Plan, week: Week) -> None:
        self._plan, self._week = plan, week
        self._as_of = plan.shop.as_of
        self.start = answers_at_start_of(week.first_on)
        self._closed = self._read_closings()
        self._planned = self._from_answers(self.start) if self.start else self._from_records()
        self._jobs = {
            job.job: job for job in Job.objects.filter(job__in={*self._planned, *self._closed}).select_related("pump")
        }
        self._changes = self._read_changes()
        self._later = self._read_later()
        self._costs, self._used = self._read_planned_costs(), self._read_used()

    def rows(self) -> tuple[WeekJob, ...]:
        """The jobs by the day on which they were planned, those that were built besides at the end."""
        names = {*self._planned, *self._closed} & self._jobs.keys()
        rows = (self._row(self._jobs[name]) for name in names)
        return tuple(sorted(rows, key=lambda row: (row.planned_on or date.max, row.built_on or date.max, row.job)))

    def _row(self, job: Job) -> WeekJob:
        planned_on, closing = self._planned.get(job.job), self._closed.get(job.job)
        on_its_day = bool(closing and planned_on and closing.on <= planned_on)
        return WeekJob(
            job=job.job,
            pump=job.pump.part_number,
            scope=job.scope,
            customer=job.customer,
            serial=job.serial,
            planned_on=planned_on,
            built_on=closing.on if closing else None,
            on_its_day=on_its_day,
            why_not="" if on_its_day or planned_on is None else self._why_not(job, planned_on, closing),
            planned=self._costs.get(job.job),
            used=self._used.get(job.job, Cost.total(())) if closing else None,
        )

    def _why_not(self, job: Job, planned_on: date, closing: Closing | None) -> str:
        """Why a job was not built on its day: what was decided, else what it waited for."""
        if closing is None and planned_on >= self._as_of and job.asks and not self._changes.get(job.job):
            return ""  # its day is still to come
        said = list(self._changes.get(job.job, ()))
        if closing is None and job.job in self._opened_again:
            said.append(f"built, and opened again: {self._opened_again[job.job]}")
        if job.stage == Stage.HELD:
            said.append(f"held: {job.held_because}" if job.held_because else "held")
        elif job.stage == Stage.CANCELLED and not said:
            said.append("cancelled")
        if closing and closing.says:
            said.append(closing.says)
        told = self._later.get(job.job) if closing is None else self.start and self.start.jobs.get(job.job)
        if not said and told:
            said += self._waits_for(told)
        return "; ".join(said) or NO_REASON

    def _waits_for(self, told: JobAnswer) -> Iterator[str]:
        if told.orders:
            yield f"waits for {', '.join(told.orders)}, overdue"
        if told.status in ("late", "short") and told.blocking_part:
            here = f", here on {words_for_day(told.parts_on, self._as_of)}" if told.parts_on else ""
            yield f"waits for {told.blocking_part}{here}"

    def _from_answers(self, start: Answers) -> dict[str, date]:
        return {
            name: answer.build_on
            for name, answer in start.jobs.items()
            if answer.asks and self._week.holds(answer.build_on)
        }

    def _from_records(self) -> dict[str, date]:
        """The build days as they stood when the week began, as far as changes are on record."""
        since = JobChange.objects.filter(at__gte=self._week.begins_at).order_by("-pk").select_related("job")
        then = {change.job.job: change.build_on_before for change in since}
        given_up = {change.job.job for change in since if change.given_up}
        closed_before = set(
            JobStep.objects.filter(after=Stage.BUILT, before__in=TO_BUILD, at__lt=self._week.begins_at).values_list(
                "job__job", flat=True
            )
        )
        closed_later = set(
            JobStep.objects.filter(after=Stage.BUILT, before__in=TO_BUILD, at__gte=self._week.begins_at).values_list(
                "job__job", flat=True
            )
        )
        found = {}
        for name, stage, build_on in Job.objects.values_list("job", "stage", "build_on"):
            on = then.get(name, build_on)
            gone = (stage in DONE and name not in closed_later) or (stage == Stage.CANCELLED and name not in given_up)
            if self._week.holds(on) and name not in closed_before - closed_later and not gone:
                found[name] = on
        return found

    def _read_closings(self) -> dict[str, Closing]:
        """The jobs whose parts were closed in the week and not opened again in it; why others were is kept."""
        found: dict[str, Closing] = {}
        self._opened_again: dict[str, str] = {}
        steps = JobStep.objects.filter(at__gte=self._week.begins_at, at__lt=self._week.ends_at).order_by("pk")
        for job, before, after, at, says in steps.values_list("job__job", "before", "after", "at", "says"):
            if before in TO_BUILD and after == Stage.BUILT:
                found[job] = Closing(timezone.localdate(at), says)
            elif before == Stage.BUILT and after in TO_BUILD:
                self._opened_again[job] = says
                found.pop(job, None)
        return found

    def _read_changes(self) -> Mapping[str, list[str]]:
        rows = JobChange.objects.filter(
            job__job__in=list(self._planned), at__gte=self._week.begins_at, at__lt=self._week.ends_at
        )
        found: dict[str, list[str]] = {}
        for row in rows.order_by("pk").select_related("job", "by"):
            who = f" by {name_of(row.by)}" if row.by else ""
            if row.given_up:
                found.setdefault(row.job.job, []).append(f"given up{who}: {row.why}")
            elif row.build_on != row.build_on_before:
                to = words_for_day(row.build_on, self._as_of)
                found.setdefault(row.job.job, []).append(f"moved to {to}{who}: {row.why}")
        return found

    def _read_later(self) -> Mapping[str, JobAnswer]:
        """What the jobs were told when the week was over, or are told now."""
        after = answers_at_start_of(self._week.first_on + timedelta(days=7))
        return (after or answers_of(self._plan)).jobs

    def _read_planned_costs(self) -> dict[str, Cost]:
        """What was planned for each job by the last answers that were kept before it was built."""
        rows = KeptAnswer.objects.filter(job__in=list(self._jobs), kept__as_of__lte=self._week.last_on)
        found: dict[str, Cost] = {}
        told = rows.exclude(status="").order_by("kept__as_of", "kept__at")
        for job, cost, uncosted, as_of in told.values_list("job", "cost", "uncosted", "kept__as_of"):
            if job not in self._closed or as_of <= self._closed[job].on:
                found[job] = Cost(cost, uncosted)
        return found

    def _read_used(self) -> dict[str, Cost]:
        """What was used up in the jobs that were built, what was taken back left out."""
        totals = used_up(self._closed, self._week.ends_at)
        if not totals:
            return {}
        costs = PartCosts()
        return {job: costs.sum_of(parts.items()) for job, parts in totals.items()}


def used_up(jobs: Collection[str], before: datetime) -> dict[str, dict[str, int]]:
    """Millionths of each item that the ledger says were used up in some jobs before a moment; two statements."""
    found: dict[str, dict[str, int]] = {}
    moves = Movement.objects.filter(posting__job__job__in=list(jobs), posting__at__lt=before).order_by()
    for kind in ("posting__kind", "posting__reverses__kind"):
        rows = moves.filter(**{kind: PostingKind.CONSUME}).values_list(
            "posting__job__job", "balance__lot__item__part_number"
        )
        for job, part_number, quantity in rows.annotate(Sum("quantity")):
            parts = found.setdefault(job, {})
            parts[part_number] = parts.get(part_number, 0) - quantity
    return found
