"""What has to leave the shop, being past its last day or condemned, and the record of what has left."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from bom.structure.packets import packet_bars
from kits.catalog.amounts import Amount
from kits.catalog.words import Cleanliness
from kits.stock.lists.shelf_facts import ShelfFact, shelf_facts
from kits.stock.models import Movement
from kits.stock.words import Condition


@dataclass(frozen=True, slots=True)
class ToDispose:
    """One account of a lot that nobody may use any more."""

    balance_id: int
    part_number: str
    item_kind: str
    what: str
    lot: str
    lot_id: int
    place: str
    quantity: Amount
    why: str
    last_use_on: date | None
    owner: str
    millionths: int


@dataclass(frozen=True, slots=True)
class Disposed:
    """One line of the record: what left the shop, when, by whom, how and why."""

    posting: int
    at: datetime
    by: str
    part_number: str
    item_kind: str
    lot: str
    quantity: Amount
    way: str
    remark: str
    reason: str
    taken_back: bool


def to_dispose(*, today: date) -> list[ToDispose]:
    """Lots past their last day, and what quarantine or an opened packet bars from use, by place."""
    return [_to_dispose(fact, why) for fact in shelf_facts() if (why := _why(fact, today))]


def disposed() -> list[Disposed]:
    """The record, the last first; one statement."""
    movements = (
        Movement.objects.filter(posting__disposal__isnull=False)
        .select_related("posting__by", "posting__disposal", "posting__reversed_by", "balance__lot__item")
        .order_by("-posting_id", "id")
    )
    return [_disposed(movement) for movement in movements]


def _why(fact: ShelfFact, today: date) -> str:
    if fact.last_use_on is not None and fact.last_use_on < today:
        return "past its last day of use"
    if fact.condition == Condition.QUARANTINE:
        return "in quarantine: only when it was condemned"
    if packet_bars(fact.item, fact.packet):
        clean = fact.item.cleanliness != Cleanliness.NORMAL
        return "packet opened: not clean any more" if clean else "packet opened: may not be used any more"
    return ""


def _to_dispose(fact: ShelfFact, why: str) -> ToDispose:
    item = fact.item
    return ToDispose(
        balance_id=fact.balance_id,
        part_number=item.part_number,
        item_kind=item.kind,
        what=item.description,
        lot=fact.lot,
        lot_id=fact.lot_id,
        place=fact.place,
        quantity=Amount.of(fact.quantity, item.stock_unit),
        why=why,
        last_use_on=fact.last_use_on,
        owner=fact.owner,
        millionths=fact.quantity,
    )


def _disposed(movement: Movement) -> Disposed:
    posting, lot = movement.posting, movement.balance.lot
    return Disposed(
        posting=posting.pk,
        at=posting.at,
        by=(posting.by.get_full_name() or posting.by.username) if posting.by else "",
        part_number=lot.item.part_number,
        item_kind=lot.item.kind,
        lot=lot.lot,
        quantity=Amount.of(-movement.quantity, lot.item.stock_unit),
        way=posting.disposal.get_way_display(),
        remark=posting.disposal.remark,
        reason=posting.reason,
        taken_back=hasattr(posting, "reversed_by"),
    )
