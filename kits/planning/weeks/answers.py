"""What a plan tells each job, as it is kept and compared: of the plan of now, or of one that was kept."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.utils import timezone

from bom.plan import Plan
from bom.reading import Asker, Reading
from bom.values import Job
from kits.catalog.formats.in_force import formats
from kits.people.names import name_of
from kits.planning.models import KeptAnswer, KeptAnswers
from kits.planning.queries import reading_of
from kits.planning.weeks.costs import Cost, PartCosts, planned_costs
from kits.schedule.words import Stage

ANSWER_FIELDS = (
    "job", "pump", "scope", "serial", "customer", "quantity", "stage", "build_on", "status", "parts_on", "days_late",
    "could_build_on", "blocking_part", "orders", "cost", "uncosted",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class JobAnswer:
    """What one job was told; the fields are those of `KeptAnswer`."""

    job: str
    pump: str
    scope: str
    serial: str
    customer: str
    quantity: int
    stage: str
    build_on: date
    status: str
    parts_on: date | None
    days_late: int | None
    could_build_on: date | None
    blocking_part: str
    orders: tuple[str, ...]
    cost: Decimal = Decimal(0)
    uncosted: int = 0

    @property
    def asks(self) -> bool:
        """Whether the job asked for parts."""
        return bool(self.status)

    @property
    def is_sure(self) -> bool:
        """Whether it could be built on its day without a broken promise."""
        return self.status in ("ready", "waiting") and not self.orders


@dataclass(frozen=True, slots=True)
class Answers:
    """The answers of one plan: as of which day, at which moment, and what each job was told; ``pk`` is 0 of now."""

    pk: int
    as_of: date
    at: datetime
    jobs: dict[str, JobAnswer]


@dataclass(frozen=True, slots=True)
class KeptRow:
    """Answers that are kept, to choose from."""

    pk: int
    as_of: date
    is_first_of_week: bool
    by: str
    at: datetime


def monday(on: date) -> date:
    """The first day of the week of a day: its Monday, unless the shop begins its weeks otherwise."""
    return formats().week_of(on)


def answers_of(plan: Plan) -> Answers:
    """What the plan tells each job that is still to be built, without costs."""
    reading = reading_of(plan)
    jobs = (_answer(reading, job, Cost(Decimal(0))) for job in plan.shop.jobs)
    return Answers(0, plan.shop.as_of, timezone.now(), {answer.job: answer for answer in jobs if answer})


def costed_answers(plan: Plan) -> Iterator[JobAnswer]:
    """The same with what the parts of each job are planned to cost; three statements."""
    reading = reading_of(plan)
    costs = planned_costs(reading, PartCosts(reading.lists))
    for job in plan.shop.jobs:
        asker = reading.jobs.get(job.job)
        if answer := _answer(reading, job, costs[asker] if asker else Cost(Decimal(0))):
            yield answer


def _answer(reading: Reading, job: Job, cost: Cost) -> JobAnswer | None:
    """What one job is told; None of a job that nobody will build any more."""
    asker = reading.jobs.get(job.job)
    if asker is None and job.stage != Stage.HELD:
        return None
    return JobAnswer(
        job=job.job,
        pump=job.pump,
        scope=job.scope,
        serial=job.serial,
        customer=job.customer,
        quantity=job.quantity,
        stage=job.stage,
        build_on=job.build_on,
        status=asker.status if asker else "",
        parts_on=asker.parts_on if asker else None,
        days_late=asker.days_late if asker else None,
        could_build_on=could_build_on(reading.plan, asker) if asker else None,
        blocking_part=(asker.blocking_part or "") if asker else "",
        orders=reading.overdue_orders.get(asker, ()) if asker else (),
        cost=cost.sum,
        uncosted=cost.unknown,
    )


def could_build_on(plan: Plan, asker: Asker) -> date | None:
    """Its build day, or the first day from now on that its parts allow; None where nobody knows when they are here."""
    if asker.parts_on is None:
        return None
    if asker.days_late:
        return max(asker.build_on, plan.calendar.forward(asker.parts_on, plan.shop.staging_days))
    return asker.build_on if asker.build_on >= plan.shop.as_of else plan.calendar.on_or_after(plan.shop.as_of)


def kept_list() -> list[KeptRow]:
    """The answers that are kept, the latest first; one statement."""
    return [_row(kept) for kept in KeptAnswers.objects.select_related("by").order_by("-as_of", "-at", "-pk")]


def _row(kept: KeptAnswers) -> KeptRow:
    return KeptRow(kept.pk, kept.as_of, kept.week_on is not None, name_of(kept.by), kept.at)


def kept_answers(pk: int) -> Answers | None:
    """The answers that were kept under a number; two statements."""
    kept = KeptAnswers.objects.filter(pk=pk).first()
    return None if kept is None else _read(kept)


def answers_at_start_of(week_on: date) -> Answers | None:
    """The first answers that were kept in a week; two statements."""
    kept = KeptAnswers.objects.filter(week_on=week_on).first()
    return None if kept is None else _read(kept)


def last_week_began_with(as_of: date) -> Answers | None:
    """The latest answers before a day that a week began with; two statements."""
    kept = KeptAnswers.objects.filter(week_on__isnull=False, as_of__lt=as_of).order_by("-week_on").first()
    return None if kept is None else _read(kept)


def _read(kept: KeptAnswers) -> Answers:
    rows = KeptAnswer.objects.filter(kept=kept).order_by("job").values_list(*ANSWER_FIELDS)
    named = (dict(zip(ANSWER_FIELDS, row, strict=True)) for row in rows)
    jobs = (JobAnswer(**{**row, "orders": tuple(row["orders"])}) for row in named)
    return Answers(kept.pk, kept.as_of, kept.at, {answer.job: answer for answer in jobs})
