"""A lot that may be bad: where all of it is, and what the plan loses without it."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from datetime import date

from bom.plan import Plan, plan
from bom.values import ASKING_STAGES, Shop
from bom.values import Lot as PlannedLot
from kits.catalog.amounts import Amount
from kits.planning.queries import kept_beside, reading_of
from kits.planning.questions.trial import TrialSheet, side_by_side
from kits.schedule.models import Job
from kits.stock.lists.stand_ins import named_as
from kits.stock.models import Balance, Concession, KitPiece, Lot, Movement, Suspicion
from kits.stock.suspicions import frozen_amounts, with_kits
from kits.stock.words import Condition, PlaceKind, PostingKind


@dataclass(frozen=True, slots=True)
class SuspectPlace:
    """What lies of the lot, or of a kit that holds it, at a place. ``frozen`` is False where somebody may take it."""

    place: str
    part_number: str
    is_kit: bool
    lot_id: int
    lot: str
    quantity: Amount
    holds: Amount
    last_use_on: date | None
    frozen: bool


@dataclass(frozen=True, slots=True)
class SuspectJob:
    """A job that the lot, or a kit that holds it, went to; ``stage`` in words, ``customer`` to be told."""

    job: str
    stage: str
    pump: str
    serial: str
    customer: str
    build_on: date
    part_number: str
    lot: str
    quantity: Amount
    says: str


@dataclass(frozen=True, slots=True)
class SuspectSheet:
    """Everything about one suspect lot. ``loses`` sets the plan beside one without it, None where that is the same."""

    lot: Lot
    suspicion: Suspicion | None
    earlier: tuple[Suspicion, ...]
    concessions: tuple[Concession, ...]
    as_of: date
    shelf: tuple[SuspectPlace, ...]
    in_build: tuple[SuspectJob, ...]
    left_the_shop: tuple[SuspectJob, ...]
    loses: TrialSheet
    without_bags: TrialSheet | None

    @property
    def still_usable(self) -> tuple[SuspectPlace, ...]:
        """What is not frozen."""
        return tuple(row for row in self.shelf if not row.frozen)

    @property
    def serials(self) -> tuple[str, ...]:
        """The serials of the pumps that left the shop with it."""
        return tuple(dict.fromkeys(row.serial or row.job for row in self.left_the_shop))


def find_lot(lot_id: int) -> Lot | None:
    """Return a lot by its key; one statement."""
    return Lot.objects.select_related("item").filter(pk=lot_id).first()


def suspect_sheet(now: Plan, lot: Lot) -> SuspectSheet:
    """Where a lot is and what the plan loses without it; ten statements."""
    lots = with_kits({lot.pk})
    named = _named(lots)
    history = list(Suspicion.objects.filter(lot=lot).select_related("by", "lifted_by"))
    standing = next((one for one in history if one.lifted_at is None), None)
    frozen = frozen_amounts(lots) if standing else {}
    loses, without_bags = kept_beside(now, f"without lot {lot.pk}", lambda: _losses(now, named, frozen))
    return SuspectSheet(
        lot=lot,
        suspicion=standing,
        earlier=tuple(one for one in history if one.lifted_at is not None),
        concessions=tuple(Concession.objects.filter(suspicion__lot=lot).select_related("job", "by", "taken_back_by")),
        as_of=now.shop.as_of,
        shelf=tuple(on_the_shelf(lot, lots)),
        in_build=tuple(in_build(lots)),
        left_the_shop=tuple(left_the_shop(lots)),
        loses=loses,
        without_bags=without_bags,
    )


def _named(lots: Collection[int]) -> set[tuple[str, str]]:
    """The names of lots in the plan, those under which they stand in for other parts included; one statement."""
    rows = Lot.objects.filter(pk__in=lots).values_list("item__part_number", "lot", "stand_ins__wanted__part_number")
    return {
        (counts_as, named_as(counts_as, part, lot))
        for part, lot, wanted in rows
        for counts_as in (part, wanted or part)
    }


def _losses(
    now: Plan, named: Collection[tuple[str, str]], frozen: dict[FrozenKey, int]
) -> tuple[TrialSheet, TrialSheet | None]:
    """What the plan loses without some lots, and what it loses besides if bags have to give them back."""
    compiled = reading_of(now).lists.compiled
    usable = plan(as_if_good(now.shop, frozen), compiled, now) if frozen else now
    frozen_plan = plan(as_if_bad(now.shop, named, also_given=False), compiled, now)
    given = any((issue.part_number, issue.lot) in named for issue in now.shop.issues)
    bare = plan(as_if_bad(now.shop, named, also_given=True), compiled, now) if given else None
    return side_by_side(usable, frozen_plan), side_by_side(frozen_plan, bare) if bare else None


def as_if_bad(shop: Shop, lots: Collection[tuple[str, str]], *, also_given: bool) -> Shop:
    """The same shop with some lots in quarantine; ``also_given``: what jobs hold of them does not count either."""
    asking = {job.job for job in shop.jobs if job.stage in ASKING_STAGES}
    issues = tuple(
        issue
        for issue in shop.issues
        if not (also_given and issue.job in asking and (issue.part_number, issue.lot) in lots)
    )
    shelf = tuple(
        replace(lot, condition=Condition.QUARANTINE.value) if (lot.part_number, lot.lot) in lots else lot
        for lot in shop.lots
    )
    return replace(shop, lots=shelf, issues=issues, stamp="")


FrozenKey = tuple[str, str, str, str]
"""Part, lot, place, packet."""


def as_if_good(shop: Shop, frozen: dict[FrozenKey, int]) -> Shop:
    """The same shop with what was frozen usable again."""
    return replace(shop, lots=tuple(row for lot in shop.lots for row in _thawed(lot, frozen)), stamp="")


def _thawed(lot: PlannedLot, frozen: dict[FrozenKey, int]) -> Iterator[PlannedLot]:
    back = frozen.get((lot.part_number, lot.lot, lot.place, lot.packet), 0)
    back = min(back, lot.quantity) if lot.condition == Condition.QUARANTINE else 0
    if back:
        yield replace(lot, condition=Condition.USABLE.value, quantity=back)
    if back < lot.quantity:
        yield replace(lot, quantity=lot.quantity - back)


def on_the_shelf(lot: Lot, lots: Collection[int]) -> Iterator[SuspectPlace]:
    """Every place where the lot or a kit that holds it lies, in walk order; two statements."""
    inside = dict(KitPiece.objects.filter(piece_lot=lot).order_by().values_list("kit_lot_id", "quantity"))
    rows = Balance.objects.on_shelf().filter(lot__in=lots, quantity__gt=0).select_related("lot__item", "place")
    for row in rows.order_by("place__walk_order", "place__folded", "lot__item__folded", "lot__folded", "pk"):
        assert row.place is not None, "only the shelf was asked for"
        yield SuspectPlace(
            place=row.place.place,
            part_number=row.lot.item.part_number,
            is_kit=row.lot.item.kind == "kit",
            lot_id=row.lot_id,
            lot=row.lot.lot,
            quantity=Amount.of(row.quantity, row.lot.item.stock_unit),
            holds=Amount.of(inside.get(row.lot_id, 0), lot.item.stock_unit),
            last_use_on=row.lot.last_use_on,
            frozen=row.condition == Condition.QUARANTINE or row.place.kind == PlaceKind.QUARANTINE,
        )


def in_build(lots: Collection[int]) -> Iterator[SuspectJob]:
    """The jobs that hold it in their bag; one statement."""
    rows = Balance.objects.of_jobs().filter(lot__in=lots, quantity__gt=0)
    for row in rows.select_related("lot__item", "job__pump").order_by("job__build_on", "job__folded", "pk"):
        assert row.job is not None, "only jobs were asked for"
        yield _job_row(row.job, row.lot, row.quantity, "in its bag" if row.state == "bagged" else "given to it")


def left_the_shop(lots: Collection[int]) -> Iterator[SuspectJob]:
    """The jobs in whose pumps it was used up; one statement."""
    rows = Movement.objects.filter(
        balance__lot__in=lots,
        balance__job__isnull=False,
        posting__kind=PostingKind.CONSUME,
        posting__reversed_by__isnull=True,
    ).select_related("balance__lot__item", "balance__job__pump")
    for row in rows.order_by("balance__job__build_on", "balance__job__folded", "pk"):
        job = row.balance.job
        assert job is not None, "only jobs were asked for"
        yield _job_row(job, row.balance.lot, -row.quantity, "used up in the pump")


def _job_row(job: Job, lot: Lot, quantity: int, says: str) -> SuspectJob:
    return SuspectJob(
        job=job.job,
        stage=job.get_stage_display().lower(),
        pump=job.pump.part_number,
        serial=job.serial,
        customer=job.customer,
        build_on=job.build_on,
        part_number=lot.item.part_number,
        lot=lot.lot,
        quantity=Amount.of(quantity, lot.item.stock_unit),
        says=says,
    )


@dataclass(frozen=True, slots=True)
class SuspectTrace:
    """One line of the list to work through: a place, a bag or a pump that the lot went to."""

    where: str
    name: str
    serial: str
    customer: str
    part_number: str
    lot: str
    quantity: Amount
    says: str


def trace_of(sheet: SuspectSheet) -> list[SuspectTrace]:
    """The whole trace as one list."""
    shelf = [
        SuspectTrace("shelf", row.place, "", "", row.part_number, row.lot, row.quantity, _frozen_says(row))
        for row in sheet.shelf
    ]
    jobs = [
        SuspectTrace(where, row.job, row.serial, row.customer, row.part_number, row.lot, row.quantity, row.says)
        for where, rows in (("in build", sheet.in_build), ("left the shop", sheet.left_the_shop))
        for row in rows
    ]
    return shelf + jobs


def _frozen_says(row: SuspectPlace) -> str:
    return "frozen" if row.frozen else "still usable"
