"""The bag of a job before and after it is closed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from kits.catalog.amounts import Amount
from kits.catalog.models import Item
from kits.picking.clean_work import class_of_bag
from kits.picking.closing.open_points import OpenPoint, check_bag, goes_in_of, open_points
from kits.picking.closing.surplus import open_questions, surplus_of
from kits.picking.job_lots import mark_of, marked
from kits.picking.models import Bag, PumpQuestion
from kits.picking.queries import LotUsed, bag_balances, lots_used, places_of_lots
from kits.picking.words import PumpAnswer
from kits.schedule.models import Job
from kits.schedule.stages import is_done
from kits.schedule.step_list import StepRow, closing_of
from kits.stock.lists.stand_ins import StandingIn
from kits.stock.models import Balance, Movement, Place
from kits.stock.packed_kits.last_uses import kit_last_uses
from kits.stock.packets import may_be_resealed
from kits.stock.suspects.with_jobs import suspect_lots_of, suspects_of
from kits.stock.words import HeldAs, PlaceKind, PostingKind

SURPLUS, USED, FORGOTTEN = "surplus", "used", "forgotten"
"""What may have become of what is more than the pump takes."""
DECIDED_SAYS = {
    PostingKind.RETURN_TO_LOT.value: "back to its lot",
    PostingKind.TO_QUARANTINE.value: "into quarantine",
    PostingKind.SCRAP.value: "scrapped",
}


@dataclass(frozen=True, slots=True)
class LotInBag:
    """One lot in the bag. ``place`` is where it came from, ``back_says`` what going back means if not that.

    ``suspect`` says so of a lot under suspicion. ``besides`` of it was given over the counter, ``surplus`` is more than
    the pump takes, as far as is known, and ``likely`` what most likely became of that: surplus or used.
    """

    lot_id: int
    part_number: str
    what: str
    is_kit: bool
    lot: str
    last_use_on: date | None
    quantity: Amount
    besides: Amount
    surplus: Amount
    likely: str
    place_id: int | None
    place: str
    back_says: str
    suspect: str

    @property
    def takes(self) -> Amount:
        """How many of them the pump takes by its lists."""
        rest = self.quantity.millionths - self.surplus.millionths - self.besides.millionths
        return Amount(rest, self.quantity.unit)


@dataclass(frozen=True, slots=True)
class Decided:
    """What was left over of a lot when the job was closed."""

    part_number: str
    lot: str
    quantity: Amount
    says: str
    reason: str


@dataclass(frozen=True, slots=True)
class CloseSheet:
    """Everything that stands on the sheet that closes the parts of a job; ``closed`` once that is done."""

    job: Job
    bag: tuple[LotInBag, ...]
    places: tuple[tuple[int, str], ...]
    open_points: tuple[OpenPoint, ...]
    closed: StepRow | None
    used: tuple[LotUsed, ...]
    decided: tuple[Decided, ...]
    questions: tuple[PumpQuestion, ...]
    not_taken: tuple[int, ...]

    @property
    def asked(self) -> tuple[LotInBag, ...]:
        """The lots of which there is more than the pump takes."""
        return tuple(lot for lot in self.bag if lot.surplus)

    @property
    def as_listed(self) -> tuple[LotInBag, ...]:
        """The other lots."""
        return tuple(lot for lot in self.bag if not lot.surplus)

    @property
    def may_be_overridden(self) -> bool:
        """Whether something is open in spite of which a planner or the lead may close the parts with a reason."""
        return any(point.where != "suspect" for point in self.open_points)

    @property
    def shows(self) -> tuple[object, ...]:
        """What stands before whoever closes the job: its bag, of which all that is not left over is used up, and what
        is open all the same."""
        bag = [(lot.part_number, lot.lot, lot.quantity.millionths) for lot in self.bag]
        return bag, [point.says for point in self.open_points]


def close_sheet(plan: Plan, job: Job) -> CloseSheet:
    """The bag of a job and what is open while it asks for parts, and what became of it once it is closed."""
    places = {place.pk: place for place in Place.objects.exclude(kind=PlaceKind.QUARANTINE)}
    by_lot: dict[int, list[Balance]] = defaultdict(list)
    for balance in bag_balances(job):
        by_lot[balance.lot_id].append(balance)
    balances = [balance for held in by_lot.values() for balance in held]
    goes_in = goes_in_of(balances)
    check = check_bag(plan, job, goes_in) if job.asks else None
    surplus = surplus_of(check, balances, kit_last_uses(), StandingIn(job))
    answers = dict(PumpQuestion.objects.filter(job=job).exclude(answer="").order_by("pk").values_list("lot", "answer"))
    came_from = places_of_lots(job)
    suspects = suspects_of(job)
    marks = {lot: mark_of(one) for lot, one in suspect_lots_of(suspects).items()}
    return CloseSheet(
        job=job,
        bag=tuple(
            _in_bag(held, came_from.get(lot_id), places, marks.get(lot_id, ""), surplus, answers.get(lot_id, ""))
            for lot_id, held in by_lot.items()
        ),
        places=tuple((pk, place.place) for pk, place in places.items()),
        open_points=open_points(plan, job, goes_in, plan.shop.as_of) if job.asks else (),
        closed=closing_of(job) if is_done(job.stage) else None,
        used=tuple(marked(lots_used([job]), suspects)),
        decided=_decided(job),
        questions=tuple(open_questions(job)) if job.asks else (),
        not_taken=_not_taken(job, balances) if job.asks else (),
    )


def _not_taken(job: Job, balances: Iterable[Balance]) -> tuple[int, ...]:
    """The bags of which nobody has said that the bench took what lies in them."""
    lies = {class_of_bag(job.cleanliness, row.lot.item.cleanliness) for row in balances if row.state == HeldAs.BAGGED}
    return tuple(Bag.objects.filter(job=job, cleanliness__in=lies).values_list("number", flat=True))


def _in_bag(
    balances: list[Balance],
    came_from: int | None,
    places: dict[int, Place],
    suspect: str,
    surplus: dict[int, int],
    answer: str,
) -> LotInBag:
    lot, item = balances[0].lot, balances[0].lot.item
    place_id = came_from or balances[0].place_id
    place = places.get(place_id) if place_id else None
    return LotInBag(
        lot_id=lot.pk,
        part_number=item.part_number,
        what=item.description,
        is_kit=item.kind == "kit",
        lot=lot.lot,
        last_use_on=lot.last_use_on,
        quantity=Amount.of(sum(balance.quantity for balance in balances), item.stock_unit),
        besides=Amount.of(
            sum(balance.quantity for balance in balances if balance.state == HeldAs.EXTRA), item.stock_unit
        ),
        surplus=Amount.of(sum(surplus.get(balance.pk, 0) for balance in balances), item.stock_unit),
        likely=USED if answer == PumpAnswer.FITTED else SURPLUS,
        place_id=place.pk if place else None,
        place=place.place if place else "",
        back_says=_back_says(item, suspect),
        suspect=suspect,
    )


def _back_says(item: Item, suspect: str) -> str:
    if suspect:
        return "Back means into quarantine: the lot is under suspicion."
    return "" if may_be_resealed(item) else "Back means into quarantine: an opened packet is not used again."


def _decided(job: Job) -> tuple[Decided, ...]:
    rows = (
        Movement.objects.filter(
            posting__job=job, balance__job=job, posting__kind__in=DECIDED_SAYS, posting__reversed_by__isnull=True
        )
        .select_related("posting", "balance__lot__item")
        .order_by("balance__lot__item__folded", "balance__lot__folded", "pk")
    )
    return tuple(
        Decided(
            part_number=row.balance.lot.item.part_number,
            lot=row.balance.lot.lot,
            quantity=Amount.of(-row.quantity, row.balance.lot.item.stock_unit),
            says=DECIDED_SAYS[row.posting.kind],
            reason=row.posting.reason,
        )
        for row in rows
    )
