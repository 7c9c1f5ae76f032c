"""May the pump of a job be opened? Each point that has to hold, what is open about it, and who may let it pass."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from bom.plan import Plan
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.catalog.queries import read_settings
from kits.catalog.words import Cleanliness
from kits.people.models import User
from kits.people.names import name_of
from kits.people.roles import CLEAN_WORK, PICK_CLEAN
from kits.planning.opening.compounds import CompoundSays, compounds_of, fluid_says
from kits.planning.queries import plan_now
from kits.schedule.models import Job
from kits.schedule.opening import LetPass, OpeningGate
from kits.schedule.stages import OPENED
from kits.schedule.words import Stage
from kits.schedule.writes import Planned
from kits.service.errors import ServiceRefusal
from kits.service.models import Arrival, Waiver
from kits.service.queries import arrival_of, is_signed_for, waivers_of

MAY_SIGN = "service.add_waiver"
CLEARED = "cleared"
"""The point for which is signed that a pump is safe to open although nobody knows what was in it, or who flushed it."""


class PassedBy(Enum):
    """Who may let a point pass: the lead with a reason, the lead who cleared the pump, nobody."""

    LEAD = "lead"
    CLEARING = "clearing"
    NOBODY = "nobody"


@dataclass(frozen=True, slots=True)
class GatePoint:
    """One point that does not hold: what is open, what to do, who may let it pass, and the signature of who did."""

    code: str
    says: str
    do: str
    passed_by: PassedBy = PassedBy.LEAD
    waiver: Waiver | None = None

    @property
    def is_open(self) -> bool:
        """Whether nobody let it pass."""
        return self.waiver is None

    @property
    def signs_as(self) -> str:
        """The point under which is signed for it; empty where nobody can."""
        return {PassedBy.LEAD: self.code, PassedBy.CLEARING: CLEARED, PassedBy.NOBODY: ""}[self.passed_by]


@dataclass(frozen=True, slots=True)
class OpeningSheet:
    """The gate of one job: its points, what its seals are to its fluid, and whether an arrival is asked for at all.

    ``is_shut`` says whether the pump is still to be opened.
    """

    points: tuple[GatePoint, ...]
    compounds: tuple[CompoundSays, ...]
    is_asked: bool
    is_shut: bool

    @property
    def open_points(self) -> tuple[GatePoint, ...]:
        """The points that keep the pump shut."""
        return tuple(point for point in self.points if point.is_open)


def opening_sheet(job: Job, person: User, fitted: dict[str, tuple[str, ...]]) -> OpeningSheet:
    """The gate of a job as it stands for a person; ``fitted`` are its parts by compound. At most seven statements."""
    arrival = arrival_of(job)
    is_asked = arrival is not None or read_settings().arrivals
    compounds = fluid_says(arrival.fluid, fitted) if arrival else ()
    points = [*_clean_work(job, person)]
    if arrival is not None:
        points += [*_arrived(job, arrival), *_contradictions(compounds)]
    elif is_asked:
        says = "nobody has written down how the pump came"
        points.append(GatePoint("arrival", says, "write its arrival", PassedBy.NOBODY))
    waivers = waivers_of(job)
    signed = tuple(_signed(point, waivers) for point in points)
    return OpeningSheet(signed, compounds, is_asked, job.stage not in OPENED)


def opening_shown(plan: Plan, job: Job, person: User) -> OpeningSheet:
    """The same with what the job fits according to a plan; at most nine statements."""
    return opening_sheet(job, person, dict(compounds_of(plan, job)))


def opening_gate(job: Job, by: User) -> OpeningGate:
    """The gate as an action asks it; what the job fits is worked out now, all else inside the transaction."""
    if job.stage in OPENED:
        return refuse_shut_again
    fitted, takes = dict(compounds_of(plan_now(), job)), Planned.of(job).takes

    def ask(held: Job) -> LetPass:
        if Planned.of(held).takes != takes:
            raise ServiceRefusal(f"{held} was made another rebuild meanwhile: look at its page, then open the pump.")
        points = opening_sheet(held, by, fitted).points
        still = [point for point in points if point.is_open]
        if still:
            raise ServiceRefusal(
                f"{held} may not be opened yet: {'; '.join(f'{point.says} ({point.do})' for point in still)}."
            )
        signed = {point.waiver.pk: point.waiver for point in points if point.waiver}.values()
        return LetPass(
            says="; ".join(dict.fromkeys(waiver.why for waiver in signed))[:500],
            open_then="; ".join(point.says for point in points),
        )

    return ask


def refuse_shut_again(job: Job) -> LetPass:
    """The gate of a pump that was open when its page was looked at."""
    raise ServiceRefusal(f"{job} is {job.get_stage_display().lower()} again by now: look at its page, then open it.")


def _clean_work(job: Job, person: User) -> Iterator[GatePoint]:
    if job.cleanliness != Cleanliness.NORMAL and not person.has_perm(f"picking.{PICK_CLEAN}"):
        who, what = name_of(person), job.get_cleanliness_display().lower()
        says = f"{job} is {what}, and {who} was not trained for that"
        yield GatePoint("clean", says, f"let somebody of the group {CLEAN_WORK.name} open it", PassedBy.NOBODY)


def _arrived(job: Job, arrival: Arrival) -> Iterator[GatePoint]:
    if job.stage == Stage.EXPECTED:
        yield GatePoint("here", "the pump is expected and not here", "say where it is on the page of the job")
    yield from _plate(job, arrival)
    yield from _fluid(arrival)
    yield from _agreed(job, arrival)


def _plate(job: Job, arrival: Arrival) -> Iterator[GatePoint]:
    look = "look at the plate again, or correct the job"
    if not arrival.serial:
        yield GatePoint("serial", "the serial on the plate could not be read", "clean the plate and read it again")
    elif job.serial and fold(job.serial) != fold(arrival.serial):
        yield GatePoint("serial", f"the plate says serial {arrival.serial}, the job {job.serial}", look)
    elif not job.serial and job.quantity == 1:
        says = f"the plate says serial {arrival.serial}, the job none"
        yield GatePoint("serial", says, "write the serial of the plate on the job")
    if not arrival.model:
        yield GatePoint("model", "the model on the plate could not be read", "clean the plate and read it again")
    elif not Item.objects.by_any_number(arrival.model).filter(pk=job.pump_id).exists():
        yield GatePoint("model", f"the plate says model {arrival.model}, the job {job.pump.part_number}", look)


def _fluid(arrival: Arrival) -> Iterator[GatePoint]:
    if not arrival.fluid:
        says = "nobody knows what fluid the pump pumped"
        yield GatePoint("fluid", says, "ask the customer, or clear the pump and sign for it", PassedBy.CLEARING)
    flush = PassedBy.LEAD if arrival.fluid else PassedBy.CLEARING
    if not arrival.flushed_by:
        yield GatePoint(
            "flush", "nobody has said that the pump was flushed", "get its flushing note, or clear it", flush
        )
    elif not arrival.paper_seen:
        says = f"{arrival.flushed_by} is said to have flushed it with {arrival.flushed_with}, and no paper was seen"
        yield GatePoint("flush", says, "get the paper, or clear the pump", flush)


def _agreed(job: Job, arrival: Arrival) -> Iterator[GatePoint]:
    agreed = fold(arrival.agreed_scope) == fold(job.scope)
    if not agreed:
        before = f": what was agreed is {arrival.agreed_scope}" if arrival.agreed_scope else ""
        yield GatePoint("scope", f"the scope {job.scope} is agreed with nobody{before}", "agree it with the customer")
    if is_signed_for(job) and not (agreed and arrival.signed_by):
        says = f"nobody has signed that no more than {job.scope} is done"
        yield GatePoint("signature", says, "have the customer sign for it")


def _contradictions(compounds: Sequence[CompoundSays]) -> Iterator[GatePoint]:
    for one in compounds:
        if one.forbidden:
            do = "change the option of the job, or ask the seal maker"
            yield GatePoint(one.point, one.says, do)


def _signed(point: GatePoint, waivers: dict[str, Waiver]) -> GatePoint:
    """A point with the signature for it, if what was signed for is what is open.

    Who cleared a pump answers for its fluid and its flushing together, whatever was open about them then.
    """
    if point.code in ("fluid", "flush") and CLEARED in waivers:
        return replace(point, waiver=waivers[CLEARED])
    waiver = waivers.get(point.signs_as)
    return replace(point, waiver=waiver) if waiver and waiver.about == point.says else point
