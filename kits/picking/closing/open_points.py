"""What is still open on a job whose parts are to be closed, each with where it is done."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.questions.bag_check import BagCheck, InBag, check_bags
from kits.catalog.days.words import in_full
from kits.picking.cautions.unsuited import unsuited_compounds
from kits.picking.closing.surplus import open_questions, question_says
from kits.picking.models import PickLine
from kits.picking.queries import bag_balances
from kits.picking.words import LineState, RoundState
from kits.planning.queries import reading_of
from kits.planning.sheets.jobs.quote import parts_of_job
from kits.planning.words.item_names import item_names
from kits.planning.words.states import in_words, plural
from kits.purchasing.outside.queries import waited_for
from kits.schedule.models import Job
from kits.schedule.stages import OPENED
from kits.schedule.words import VerdictWord
from kits.service.quoting.queries import go_ahead_open
from kits.stock.lists.stand_ins import StandingIn
from kits.stock.models import Balance, Lot
from kits.stock.packed_kits.last_uses import earliest, kit_contents, kit_last_uses
from kits.stock.suspects.with_jobs import suspect_says, suspects_of
from kits.stock.words import HeldAs

NAMED = 4


@dataclass(frozen=True, slots=True)
class OpenPoint:
    """One thing that is open.

    ``where`` is one of stage, round, quote, parts, strip, outside, arrival, suspect, pump and bag. ``number`` is that
    of the round or of the outside work.
    """

    where: str
    says: str
    number: int | None = None


@dataclass(frozen=True, slots=True)
class GoesIn:
    """Millionths of a lot that would count as used up in the pump; ``besides`` of them beyond what its lists ask."""

    lot: Lot
    quantity: int
    besides: int = 0


def goes_in_of(balances: Iterable[Balance]) -> tuple[GoesIn, ...]:
    """What would be used up of a bag of which nothing is left over."""
    held: dict[int, GoesIn] = {}
    for balance in balances:
        before = held.get(balance.lot_id) or GoesIn(balance.lot, 0)
        besides = balance.quantity if balance.state == HeldAs.EXTRA else 0
        held[balance.lot_id] = GoesIn(balance.lot, before.quantity + balance.quantity, before.besides + besides)
    return tuple(held.values())


def may_be_built(plan: Plan, job: Job) -> tuple[OpenPoint, ...]:
    """Everything that keeps a pump from being put together on its build day; nine statements or more."""
    return open_points(plan, job, goes_in_of(bag_balances(job)), max(plan.shop.as_of, job.build_on))


def check_bag(plan: Plan, job: Job, goes_in: Sequence[GoesIn]) -> BagCheck | None:
    """What lies in a bag against what its pump needs, kits by what they really hold; None where it asks for nothing."""
    contents = kit_contents() if any(one.lot.item.kind == "kit" for one in goes_in) else {}
    standing = StandingIn(job)
    bag = [
        InBag(counts_as, quantity, contents.get(one.lot.pk))
        for one in goes_in
        for counts_as, quantity in standing.counted(
            job.pk, one.lot.pk, one.lot.item.part_number, one.quantity - one.besides
        )
    ]
    return check_bags(reading_of(plan).lists.compiled, plan.shop, {job.job: bag}).get(job.job)


def open_points(plan: Plan, job: Job, goes_in: Sequence[GoesIn], on: date) -> tuple[OpenPoint, ...]:
    """Everything that keeps a pump from being put together, or its parts from being closed, on a day, as it stands in
    the plan; nine statements or more."""
    found = [*_stage(job), *_not_agreed(plan, job)]
    lines = open_lines(job)
    found += [
        OpenPoint("round", f"{plural(count, 'line')} of round {number} {_is_are(count)} still to be picked", number)
        for number, count in lines.items()
    ]
    check = check_bag(plan, job, goes_in)
    if check is not None:
        found += _missing(check)
        found += _unseen(check)
    found += _out_for_rework(plan, job)
    found += [
        OpenPoint("outside", f"outside work {row.pk}: {row.says(plan.shop.as_of)}", row.pk)
        for row in waited_for([job.job], plan.shop.as_of).get(job.job, ())
    ]
    found += _past_their_life(goes_in, on)
    found += _not_for_its_fluid(plan, job)
    found += [OpenPoint("pump", question_says(one)) for one in open_questions(job)]
    suspects = suspects_of(job, [one.lot.pk for one in goes_in])
    found += [OpenPoint("suspect", suspect_says(one)) for one in suspects if one.concession is None]
    return tuple(found)


def open_lines(job: Job) -> Mapping[int, int]:
    """How many lines of each running round are still to be picked for a job; one statement."""
    lines = PickLine.objects.filter(state=LineState.OPEN, pick_round__state=RoundState.RUNNING, shares__bag__job=job)
    # A job may have two bags on one line, what is clean and what is not.
    distinct = lines.order_by("pick_round_id", "pk").values_list("pick_round_id", "pk").distinct()
    return Counter(number for number, _ in distinct)


def _stage(job: Job) -> Iterator[OpenPoint]:
    if job.stage not in OPENED:
        yield OpenPoint("stage", f"nobody has said that the pump was stripped: it is {job.get_stage_display().lower()}")


def _missing(check: BagCheck) -> Iterator[OpenPoint]:
    if check.missing:
        names = item_names(check.missing)
        pieces = [f"{names[part].amount(quantity).text} of {part}" for part, quantity in check.missing.items()]
        yield OpenPoint("parts", f"its bag lacks {in_words(pieces, longest=NAMED)}")


def _unseen(check: BagCheck) -> Iterator[OpenPoint]:
    if count := len(check.unseen):
        names = in_words([position.where for position in check.unseen], longest=2)
        says = f"{plural(count, 'position')} {'has' if count == 1 else 'have'} no verdict: {names}"
        yield OpenPoint("strip", says)


def _not_agreed(plan: Plan, job: Job) -> Iterator[OpenPoint]:
    if says := go_ahead_open(job, lambda: parts_of_job(plan, job)):
        yield OpenPoint("quote", says)


def _out_for_rework(plan: Plan, job: Job) -> Iterator[OpenPoint]:
    out = [one.where for one in plan.shop.verdicts if one.job == job.job and one.verdict == VerdictWord.REWORK]
    if out:
        says = f"{plural(len(out), 'position')} {_is_are(len(out))} out for rework: {in_words(out, longest=2)}"
        yield OpenPoint("strip", says)


def _not_for_its_fluid(plan: Plan, job: Job) -> Iterator[OpenPoint]:
    for one in unsuited_compounds(plan, [job]):
        if one.waiver is None:
            yield OpenPoint("arrival", f"{one.compound.says}, and the service lead has not signed for it")


def _past_their_life(goes_in: Sequence[GoesIn], on: date) -> Iterator[OpenPoint]:
    packed = kit_last_uses() if any(one.lot.item.kind == "kit" for one in goes_in) else {}
    for one in goes_in:
        last = earliest(one.lot.last_use_on, packed.get(one.lot.pk))
        if last is not None and last < on:
            yield OpenPoint("bag", f"lot {one.lot.lot} of {one.lot.item} may be used up to {in_full(last)} only")


def _is_are(count: int) -> str:
    return "is" if count == 1 else "are"
