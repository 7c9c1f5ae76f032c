"""The page of one bag: what lies in it and what is at the bench, where it stands, who took it, what it lacks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from bom.plan import Plan
from bom.questions.bag_check import BagCheck
from kits.catalog.amounts import Amount
from kits.people.models import User
from kits.people.names import name_of
from kits.picking.bags.contents import balances_in
from kits.picking.bags.tags import Tag, check_of, tags_of
from kits.picking.closing.surplus import surplus_of
from kits.picking.models import Bag, HandOver, PaperPick
from kits.picking.queries import marked
from kits.picking.stand_ins.allowed import items_with_stand_ins
from kits.picking.stand_ins.given import GivenRow, given_rows
from kits.stock.lists.stand_ins import StandingIn
from kits.stock.lists.with_jobs import STATE_SAYS
from kits.stock.models import Balance, Place
from kits.stock.packed_kits.last_uses import earliest, kit_last_uses
from kits.stock.packets import may_be_resealed
from kits.stock.words import HeldAs, PlaceKind

NAMES_SHOWN = 12


@dataclass(frozen=True, slots=True)
class LotOfBag:
    """Pieces of one lot in one state. ``surplus`` of them are more than the pump takes, as far as is known.

    ``past`` says that they may not be used on the build day any more.
    """

    balance_id: int
    part_number: str
    what: str
    leads_to: str
    lot_id: int
    lot: str
    last_use_on: date | None
    past: bool
    quantity: Amount
    state: str
    state_says: str
    surplus: Amount
    comes_back: bool


@dataclass(frozen=True, slots=True)
class HandOverRow:
    """Who took the bag when, and where to; ``back`` says that it was taken back."""

    pk: int
    taken_by: str
    where: str
    at: datetime
    by: str
    back: bool


@dataclass(frozen=True, slots=True)
class PaperRow:
    """What was picked on a day and posted on a later one."""

    part_number: str
    lot: str
    quantity: Amount
    picked_on: date
    at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class BagSheet:
    """Everything that stands on the page of a bag.

    ``stand_ins`` were given to the job in the place of other parts; ``may_stand_in`` names missing parts in whose place
    something lies on the shelf.
    """

    bag: Bag
    as_of: date
    marked: str
    rows: tuple[LotOfBag, ...]
    tags: tuple[Tag, ...]
    hand_overs: tuple[HandOverRow, ...]
    paper: tuple[PaperRow, ...]
    stand_ins: tuple[GivenRow, ...]
    may_stand_in: frozenset[int]
    places: tuple[tuple[int, str], ...]
    takers: tuple[str, ...]
    benches: tuple[str, ...]

    @property
    def in_bag(self) -> int:
        """How many lots are still the storeroom's."""
        return sum(row.state == HeldAs.BAGGED for row in self.rows)

    @property
    def last(self) -> HandOverRow | None:
        """The last hand-over that stands."""
        return next((one for one in self.hand_overs if not one.back), None)

    @property
    def shows(self) -> tuple[object, ...]:
        """What stands before whoever hands it over."""
        return tuple((row.balance_id, row.quantity.millionths) for row in self.rows if row.state == HeldAs.BAGGED)


def find_bag(number: int) -> Bag | None:
    """The bag of a number; one statement."""
    return Bag.objects.filter(number=number).select_related("job__pump", "place").first()


def bag_sheet(plan: Plan, bag: Bag) -> BagSheet:
    """The page of a bag; about twenty statements."""
    balances, check = balances_in(bag), check_of(plan, bag.job)
    tags = tags_of(plan, bag, check)
    hand_overs = HandOver.objects.filter(bag=bag).select_related("posting__by", "posting__reversed_by")
    recent = HandOver.objects.order_by("-id").values_list("taken_by", "where")[:100]
    people = User.objects.filter(is_active=True).order_by("username")
    return BagSheet(
        bag=bag,
        as_of=plan.shop.as_of,
        marked=marked(bag),
        rows=tuple(_rows(bag, check, balances, max(bag.job.build_on, plan.shop.as_of))),
        tags=tags,
        hand_overs=tuple(_hand_over(one) for one in hand_overs),
        paper=tuple(_paper_rows(bag)),
        stand_ins=tuple(given_rows([bag.job])),
        may_stand_in=items_with_stand_ins(tag.item_id for tag in tags),
        places=tuple((place.pk, place.place) for place in Place.objects.exclude(kind=PlaceKind.QUARANTINE)),
        takers=_names((taker for taker, _ in recent), (name_of(person) for person in people)),
        benches=_names((where for _, where in recent), ()),
    )


def _last(row: Balance, packed: Mapping[int, date]) -> date | None:
    return earliest(row.lot.last_use_on, packed.get(row.lot_id))


def _rows(bag: Bag, check: BagCheck | None, balances: list[Balance], build_on: date) -> Iterable[LotOfBag]:
    packed = kit_last_uses()
    surplus = surplus_of(check, balances, packed, StandingIn(bag.job))
    for row in balances:
        item, last = row.lot.item, _last(row, packed)
        yield LotOfBag(
            balance_id=row.pk,
            part_number=item.part_number,
            what=item.description,
            leads_to="kit" if item.kind == "kit" else "part",
            lot_id=row.lot_id,
            lot=row.lot.lot,
            last_use_on=last,
            past=last is not None and last < build_on,
            quantity=Amount.of(row.quantity, item.stock_unit),
            state=row.state,
            state_says=STATE_SAYS[HeldAs(row.state)],
            surplus=Amount.of(surplus.get(row.pk, 0), item.stock_unit),
            comes_back=may_be_resealed(item),
        )


def _hand_over(one: HandOver) -> HandOverRow:
    posting = one.posting
    return HandOverRow(
        pk=one.pk,
        taken_by=one.taken_by,
        where=one.where,
        at=posting.at,
        by=name_of(posting.by),
        back=hasattr(posting, "reversed_by"),
    )


def _paper_rows(bag: Bag) -> Iterable[PaperRow]:
    picks = PaperPick.objects.filter(posting__job=bag.job, posting__reversed_by__isnull=True).select_related(
        "posting__by"
    )
    for pick in picks.prefetch_related("posting__movements__balance__lot__item"):
        for move in (one for one in pick.posting.movements.all() if one.quantity > 0):
            lot = move.balance.lot
            amount = Amount.of(move.quantity, lot.item.stock_unit)
            yield PaperRow(
                lot.item.part_number, lot.lot, amount, pick.picked_on, pick.posting.at, name_of(pick.posting.by)
            )


def _names(recent: Iterable[str], others: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for name in (*recent, *others) if name))[:NAMES_SHOWN]
