"""Stores of the schedule, inside a transaction only: a job as it is to be, and what was changed of it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from bom.values import ASKING_STAGES
from kits.catalog.days.words import in_full
from kits.catalog.folding import fold
from kits.catalog.models import Item, ScopeSection
from kits.catalog.words import ItemKind
from kits.people.models import User
from kits.schedule.errors import ScheduleRefusal
from kits.schedule.models import Job, JobChange, JobStep
from kits.schedule.words import Stage


@dataclass(frozen=True, slots=True)
class Planned:
    """What of a job can be changed here: when it is built, in which turn, and what is rebuilt how deep."""

    build_on: date
    priority: int
    scope: str
    quantity: int
    option: str
    pump: str

    @classmethod
    def of(cls, job: Job) -> Planned:
        """A job as it is stored."""
        return cls(job.build_on, job.priority, job.scope, job.quantity, job.option, job.pump.part_number)

    @property
    def takes(self) -> tuple[str, int, str, str]:
        """What decides which parts the job takes."""
        return self.scope, self.quantity, self.option, self.pump


@dataclass(frozen=True, slots=True)
class Besides:
    """What else of a job can be changed in the list: its batch, how far it has come, and whose pump it is."""

    batch: str = ""
    stage: str = ""
    serial: str = ""
    customer: str = ""

    @classmethod
    def of(cls, job: Job) -> Besides:
        """A job as it is stored."""
        return cls(job.batch.name if job.batch else "", job.stage, job.serial, job.customer)


NOTHING_BESIDES = Besides()


def store_planned(job: Job, seen: Planned, wanted: Planned, *, stage: Stage | None = None) -> None:
    """Store a job as wanted, and its stage if one is given; refuse where it is no longer as it was seen."""
    moved = Job.objects.filter(
        pk=job.pk,
        stage__in=ASKING_STAGES,
        build_on=seen.build_on,
        priority=seen.priority,
        scope=seen.scope,
        quantity=seen.quantity,
        option=seen.option,
        pump__part_number=seen.pump,
    ).update(
        build_on=wanted.build_on,
        priority=wanted.priority,
        scope=wanted.scope,
        quantity=wanted.quantity,
        option=wanted.option,
        pump=Item.objects.get(part_number=wanted.pump),
        **({"stage": stage} if stage else {}),
    )
    if not moved:
        now = Job.objects.get(pk=job.pk)
        if not now.asks:
            raise ScheduleRefusal(
                f"{now.job} is {now.get_stage_display().lower()} and asks for no parts: there is nothing to change."
            )
        raise ScheduleRefusal(
            f"{now.job} was changed meanwhile: it is built on {in_full(now.build_on)}, priority {now.priority}, "
            f"{now.quantity} of {now.pump}, {now.scope}{', ' if now.option else ''}{now.option}. Try the change "
            "again on that."
        )
    # Nobody strips a pump after it has been built.
    if wanted.build_on != seen.build_on:
        Job.objects.filter(pk=job.pk, strip_on__gt=wanted.build_on).update(strip_on=wanted.build_on)


def store_change(
    job: Job,
    seen: Planned,
    wanted: Planned,
    *,
    given_up: bool,
    why: str,
    by: User | None,
    at: datetime,
    key: str,
    before: Besides = NOTHING_BESIDES,
    after: Besides = NOTHING_BESIDES,
) -> JobChange:
    """Store who changed what of a job, when and why."""
    return JobChange.objects.create(
        job=job,
        key=key,
        by=by,
        at=at,
        why=why.strip(),
        build_on_before=seen.build_on,
        build_on=wanted.build_on,
        priority_before=seen.priority,
        priority=wanted.priority,
        scope_before=seen.scope,
        scope=wanted.scope,
        quantity_before=seen.quantity,
        quantity=wanted.quantity,
        option_before=seen.option,
        option=wanted.option,
        pump_before=seen.pump,
        pump=wanted.pump,
        batch_before=before.batch,
        batch=after.batch,
        stage_before=before.stage,
        stage=after.stage,
        serial_before=before.serial,
        serial=after.serial,
        customer_before=before.customer,
        customer=after.customer,
        given_up=given_up,
    )


def store_step(
    job: Job,
    before: Collection[str],
    after: Stage,
    *,
    by: User,
    at: datetime,
    key: str,
    says: str = "",
    open_then: str = "",
) -> JobStep:
    """Bring a job from one of some stages to another and store who did; refuse where it is not at one of them."""
    # Guarded, so that of two people who do it at once only one does.
    for stage in before:
        if Job.objects.filter(pk=job.pk, stage=stage).update(stage=after):
            return JobStep.objects.create(
                job=job, key=key, before=stage, after=after, says=says.strip(), open_then=open_then, by=by, at=at
            )
    now = Job.objects.get(pk=job.pk)
    wanted = " or ".join(Stage(stage).label.lower() for stage in before)
    raise ScheduleRefusal(
        f"{now.job} is {now.get_stage_display().lower()} by now: only a job that is {wanted} becomes "
        f"{after.label.lower()}. Look at its page."
    )


def refuse_without_reason(why: str, job: str) -> None:
    """Refuse a change of which nobody could say later why it was made."""
    if not why.strip():
        raise ScheduleRefusal(f"The change of {job} has no reason: say in a few words why it is made.")


def refuse_unknown_scope(job: Job, seen: Planned, wanted: Planned) -> None:
    """Refuse a pump that is not known, and a scope that it does not have unless the job has it already."""
    if not Item.objects.filter(part_number=wanted.pump, kind=ItemKind.PUMP).exists():
        raise ScheduleRefusal(f"No pump {wanted.pump} is known for {job}: choose one from the list.")
    scopes = ScopeSection.objects.filter(pump__part_number=wanted.pump)
    same = (fold(wanted.scope), wanted.pump) == (fold(seen.scope), seen.pump)
    if not same and not scopes.filter(folded=fold(wanted.scope)).exists():
        known = ", ".join(sorted(set(scopes.values_list("scope", flat=True)))) or "none"
        raise ScheduleRefusal(f"{wanted.pump} has no scope “{wanted.scope}” for {job}; known for it: {known}.")
