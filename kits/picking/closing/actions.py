"""What ends a job: close its parts, test and ship the pump, take such a step back, or give the job up."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TypeVar

from django.db import transaction
from django.db.models import Sum

from bom.plan import Plan
from kits.catalog.caching.revisions import hold_marks, mark_shop
from kits.catalog.fields import quantity_text
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.picking.closing.bag_decision import BagDecision, ClosingBooking, LeftOver, Places
from kits.picking.closing.failed_tests import take_failed_test_back
from kits.picking.closing.open_points import GoesIn, OpenPoint, may_be_built, open_points
from kits.picking.errors import PickRefusal
from kits.picking.queries import bag_balances, places_of_lots
from kits.picking.rounds.line_check import refuse_quiet_job
from kits.picking.writes import leave_lines
from kits.planning.opening.gate import opening_gate
from kits.planning.queries import plan_now, today
from kits.planning.snapshot.shop import stamp_of
from kits.planning.words.states import plural
from kits.schedule.models import Job, JobStep
from kits.schedule.opening import LetPass
from kits.schedule.stages import OPENED, TO_BUILD
from kits.schedule.words import Stage
from kits.schedule.writes import Planned, refuse_unknown_scope, store_change, store_planned, store_step
from kits.service.models import Gauge, PumpTest
from kits.service.testing.judging import Judged, TestSaid, judge_readings, missing_readings, refuse_gauge
from kits.service.testing.queries import limits_of, pumps_passed, strip_number
from kits.service.testing.writes import end_strip, store_test
from kits.stock.ledger import WithJob, post, reverse
from kits.stock.models import Balance, Lot, Movement, Place, Posting, Reservation
from kits.stock.suspects.with_jobs import refuse_undecided
from kits.stock.suspicions import lots_under_suspicion
from kits.stock.words import Condition, HeldAs, PlaceKind, PostingKind

TRIES = 5
Answer = TypeVar("Answer")


def close_job(*, job: Job, decisions: Sequence[LeftOver], by: User, at: datetime, key: str, why: str = "") -> JobStep:
    """Close the parts of a job once: what is left over goes where it was decided, the rest is used up in the pump.

    The job is built from then on. Refused while something is open, unless ``why`` says why it is closed all the same.
    """

    def close(plan: Plan) -> JobStep:
        mark_shop()
        log_request(key)
        if (earlier := JobStep.objects.filter(key=key).first()) is not None:
            return earlier
        held = Job.objects.select_for_update().get(pk=job.pk)
        refuse_quiet_job(held)
        booking = _book_bag(held, decisions)
        goes_in = _goes_in(booking)
        refuse_undecided(held, "closed", [one.lot.pk for one in goes_in])
        found = open_points(plan, held, goes_in, today())
        if found and not why.strip():
            raise PickRefusal(_open_says(held, found))
        step = store_step(
            held, [held.stage], Stage.BUILT, by=by, at=at, key=key, says=why if found else "", open_then=_listed(found)
        )
        for kind, entries in booking.entries.items():
            reason = booking.reasons.get(kind, f"{held} closed")
            post(entries=entries, kind=kind, by=by, at=at, key=f"{key}:{kind.value}", reason=reason, job=held)
        leave_lines(held, at)
        Reservation.objects.filter(job=held).delete()
        return step

    return _under_one_plan(close)


def begin_building(*, job: Job, seen: str, by: User, at: datetime, key: str, why: str = "") -> JobStep:
    """Say once that a pump is being put together, if its job is still at the stage seen.

    Refused while something is open that keeps it from it, unless ``why`` says why it is begun all the same; a pump
    that is shut is opened by it, and no ``why`` goes round the gate before that.
    """

    if seen not in TO_BUILD or seen == Stage.BUILDING:
        raise PickRefusal(f"{job} is not put together from {seen}: look at its page.")
    gate = opening_gate(job, by)

    def begin(plan: Plan) -> JobStep:
        mark_shop()
        log_request(key)
        if (earlier := JobStep.objects.filter(key=key).first()) is not None:
            return earlier
        held = Job.objects.select_for_update().get(pk=job.pk)
        found = may_be_built(plan, held) if held.stage == seen else ()
        refuse_undecided(held, "put together")
        passed = gate(held) if held.stage not in OPENED else LetPass()
        if found and not why.strip():
            raise PickRefusal(
                f"{held} may not be built yet: {'; '.join(point.says for point in found)}. Do that first, "
                "or let a planner or the service lead begin all the same, with the reason."
            )
        says, open_then = (why, _listed(found)) if found else ("", "")
        said = {
            "says": "; ".join(filter(None, (says, passed.says)))[:500],
            "open_then": "; ".join(filter(None, (open_then, passed.open_then))),
        }
        return store_step(held, [seen], Stage.BUILDING, by=by, at=at, key=key, **said)

    return _under_one_plan(begin)


def record_test(
    *, job: Job, says: str, by: User, at: datetime, key: str, sheet: TestSaid | None = None
) -> JobStep | None:
    """Say once that a built pump was tested and passed: in a sentence, or by readings off a gauge.

    Readings are asked for where the shop has limits for the pump. Of several pumps each is tested by itself; the job is
    tested, and its step returned, with the last of them.
    """
    said = sheet or TestSaid({}, says=says)
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := PumpTest.objects.filter(key=key).first()) is not None:
            return earlier.step
        refuse_undecided(job, "tested")
        judged, gauge = _read_off(job, said, at)
        if bad := [one.says for one in judged if not one.within]:
            raise PickRefusal(f"{job} has not passed: {'; '.join(bad)}. Write down that it has not, and why.")
        strip, done = strip_number(job), pumps_passed(job) | {said.pump_number}
        step = None
        if sheet is None or len(done) >= job.quantity:
            step = store_step(job, [Stage.BUILT], Stage.TESTED, by=by, at=at, key=key, says=_test_says(said, judged))
        elif Job.objects.get(pk=job.pk).stage != Stage.BUILT:
            raise PickRefusal(f"{job} is not built by now: look at its page.")
        store_test(job, said, judged, gauge, strip=strip, passed=True, step=step, by=by, at=at, key=key)
        return step


@dataclass(frozen=True, slots=True)
class OpenedAgain:
    """How a job goes on whose test was not passed: to which scope, on how many pumps, built when."""

    scope: str
    quantity: int
    build_on: date


def record_failed_test(*, job: Job, sheet: TestSaid, again: OpenedAgain, by: User, at: datetime, key: str) -> JobStep:
    """Say once that a built pump has not passed: the job is stripped once more, and what it used stays used.

    Its strip report is kept as that of an earlier strip. What is opened again is asked for and picked anew.
    """
    if not sheet.says.strip():
        raise PickRefusal(f"Nothing says why {job} has not passed: write in a sentence what was seen.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := PumpTest.objects.filter(key=key).select_related("step").first()) is not None:
            assert earlier.step is not None, "a failed test always has one"
            return earlier.step
        held = Job.objects.select_for_update(of=("self",)).select_related("pump").get(pk=job.pk)
        judged, gauge = _read_off(held, sheet, at, is_whole=False)
        seen = Planned.of(held)
        wanted = replace(seen, scope=again.scope, quantity=again.quantity, build_on=again.build_on)
        refuse_unknown_scope(held, seen, wanted)
        if not 1 <= again.quantity <= held.quantity:
            raise PickRefusal(f"{held} is for {held.quantity} pumps: open 1 to {held.quantity} of them again.")
        says = f"test not passed: {sheet.says.strip()}"[:500]
        step = store_step(held, [Stage.BUILT], Stage.STRIPPED, by=by, at=at, key=key, says=says)
        strip = strip_number(held)
        test = store_test(held, sheet, judged, gauge, strip=strip, passed=False, step=step, by=by, at=at, key=key)
        end_strip(test, by, at)
        if wanted != seen:
            store_planned(held, seen, wanted)
            store_change(held, seen, wanted, given_up=False, why=says, by=by, at=at, key=f"{key}:again")
        return step


def _read_off(
    job: Job, said: TestSaid, at: datetime, *, is_whole: bool = True
) -> tuple[tuple[Judged, ...], Gauge | None]:
    """The readings of a test against the limits of its pump, and the gauge; refuse what cannot stand."""
    limits = limits_of(job.pump)
    if not limits:
        if is_whole and not said.says.strip():
            raise PickRefusal(
                f"The test of {job} says nothing yet: write in a sentence what was tested and what came of it."
            )
        return (), None
    judged = judge_readings(limits, said.readings)
    missing = missing_readings(limits, judged)
    if is_whole and missing:
        raise PickRefusal(f"The test of {job} is not whole: {', '.join(missing)} not read off yet. Write it down.")
    if not 1 <= said.pump_number <= job.quantity:
        raise PickRefusal(f"{job} is for {plural(job.quantity, 'pump')}: there is no pump {said.pump_number} of it.")
    gauge = Gauge.objects.filter(pk=said.gauge).first() if said.gauge else None
    if judged or gauge:
        refuse_gauge(gauge, today())
    return judged, gauge


def _test_says(said: TestSaid, judged: Sequence[Judged]) -> str:
    within = f"{plural(len(judged), 'reading')} within the limits" if judged else ""
    return ". ".join(filter(None, (within, said.says.strip())))[:500]


def record_shipment(*, job: Job, says: str, by: User, at: datetime, key: str) -> JobStep:
    """Say once that a tested pump left the shop; ``says`` may name how."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := JobStep.objects.filter(key=key).first()) is not None:
            return earlier
        refuse_undecided(job, "shipped")
        return store_step(job, [Stage.TESTED], Stage.SHIPPED, by=by, at=at, key=key, says=says)


BACK_TO = {Stage.SHIPPED: Stage.TESTED, Stage.TESTED: Stage.BUILT, Stage.BUILT: Stage.BUILDING}


def take_step_back(*, job: Job, seen: str, why: str, by: User, at: datetime, key: str) -> JobStep:
    """Take the last step of a job back once, if it is still at the stage seen: shipped, tested, or its parts closed.

    So is a test that was not passed, as long as nothing followed it. A job that is opened again has its bag as it was
    before it was closed; refused where what came back is gone.
    """
    if not why.strip():
        raise PickRefusal(f"{job} does not go back without a reason: say in a few words why it does.")
    if seen not in (*BACK_TO, Stage.STRIPPED):
        raise PickRefusal(f"{job} is neither built, tested nor shipped: there is no step to take back.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := JobStep.objects.filter(key=key).first()) is not None:
            return earlier
        if seen == Stage.STRIPPED:
            return take_failed_test_back(job, why, by, at, key)
        step = store_step(job, [seen], BACK_TO[Stage(seen)], by=by, at=at, key=key, says=why)
        if seen == Stage.BUILT:
            _open_bag(job, by, at, key, why.strip())
        return step


def _under_one_plan(work: Callable[[Plan], Answer]) -> Answer:
    """Work inside a transaction with the plan of that very moment, which is worked out before it as a rule."""
    for _ in range(TRIES):
        plan = plan_now()
        with transaction.atomic(durable=True):
            if stamp_of(hold_marks()) == plan.shop.stamp:
                return work(plan)
    with transaction.atomic(durable=True):
        # Others write faster than the plan is worked out: now they wait for as long as that takes.
        hold_marks()
        return work(plan_now())


def _book_bag(job: Job, decisions: Sequence[LeftOver]) -> ClosingBooking:
    cage = Place.objects.filter(kind=PlaceKind.QUARANTINE).first()
    places = Places(places_of_lots(job), cage)
    return BagDecision(job, bag_balances(job), places, lots_under_suspicion()).book(decisions)


def _goes_in(booking: ClosingBooking) -> tuple[GoesIn, ...]:
    """What a booking uses up in the pump, lot by lot."""
    used: dict[int, int] = defaultdict(int)
    besides: dict[int, int] = defaultdict(int)
    for entry in booking.entries.get(PostingKind.CONSUME, ()):
        used[entry.account.lot_id] -= entry.quantity
        if isinstance(entry.account, WithJob) and entry.account.state == HeldAs.EXTRA:
            besides[entry.account.lot_id] -= entry.quantity
    lots = Lot.objects.select_related("item").in_bulk(used)
    return tuple(GoesIn(lots[lot], quantity, besides[lot]) for lot, quantity in used.items())


def _open_says(job: Job, found: Sequence[OpenPoint]) -> str:
    return (
        f"{job} cannot be closed yet: {'; '.join(point.says for point in found)}. Do that first, "
        "or let a planner or the service lead close it all the same, with the reason."
    )


def _listed(found: Sequence[OpenPoint]) -> str:
    return "; ".join(point.says for point in found)


def _open_bag(job: Job, by: User, at: datetime, key: str, why: str) -> None:
    """Reverse what closing the parts posted."""
    closed = JobStep.objects.filter(job=job, before__in=TO_BUILD, after=Stage.BUILT).first()
    if closed is None:
        return
    keys = [f"{closed.key}:{kind.value}" for kind in PostingKind]
    postings = list(Posting.objects.filter(key__in=keys, reversed_by__isnull=True).order_by("pk"))
    _refuse_gone(job, _came_back(postings))
    for posting in postings:
        reverse(posting=posting, by=by, at=at, key=f"{key}:{posting.kind}", reason=f"{job} opened again: {why}"[:500])


def _came_back(postings: Sequence[Posting]) -> Mapping[int, int]:
    """Millionths that postings put onto the shelf, by balance."""
    rows = Movement.objects.filter(posting__in=postings, balance__job__isnull=True, quantity__gt=0).order_by()
    return dict(rows.values_list("balance").annotate(Sum("quantity")))


def _refuse_gone(job: Job, came_back: Mapping[int, int]) -> None:
    """Refuse to take back what was used, moved or set aside for another job since it came back."""
    balances = Balance.objects.select_for_update(of=("self",)).select_related("lot__item", "place")
    for balance in balances.filter(pk__in=came_back).order_by("lot_id", "pk"):
        wanted = came_back[balance.pk]
        free = balance.quantity
        if balance.condition == Condition.USABLE:
            free = min(free, _free_of_lot(balance.lot))
        if free < wanted:
            lies = f"lot {balance.lot.lot} of {balance.lot.item} at {balance.place}"
            raise PickRefusal(
                f"{job} cannot be opened again: {quantity_text(wanted)} of {lies} came back from it, and "
                f"{quantity_text(free)} of that lot are free there now. What was used since stays used: enter a job of "
                "its own for what the pump still needs."
            )


def _free_of_lot(lot: Lot) -> int:
    """What of a lot lies usable on the shelf and is set aside for nobody."""
    held = Balance.objects.on_shelf().filter(lot=lot, condition=Condition.USABLE).aggregate(held=Sum("quantity"))
    aside = Reservation.objects.filter(lot=lot).aggregate(aside=Sum("quantity"))
    return max(0, (held["held"] or 0) - (aside["aside"] or 0))
