"""What is booked in the storeroom by another program: counts, moves, holds and what came, once for each key."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Literal

from django.http import HttpRequest
from django.utils import timezone
from ninja import Field, Path, Schema, Status

from bom.values import ONE
from kits.api.door import require
from kits.api.problems import ApiRefusal
from kits.api.reading.movements import LARGEST_NUMBER, PostingFacts, postings_told, tell_postings
from kits.api.reading.movements import router as router
from kits.api.refusals import REFUSALS_OF_CHANGES
from kits.api.writing.keys import RequestKey, request_key
from kits.catalog.models import Item
from kits.people.tokens.scopes import BOOK
from kits.planning.queries import today
from kits.planning.questions.old_deliveries import asked_of_delivery
from kits.purchasing.models import OrderLine
from kits.purchasing.receiving.actions import receive_delivery, take_back
from kits.purchasing.receiving.checks import DeliveredLot
from kits.stock import actions
from kits.stock.ledger import OnShelf
from kits.stock.lists.movements import may_be_taken_back
from kits.stock.models import Lot, Place, Posting
from kits.stock.words import PostingKind
from kits.stock.writes import LotFacts

Name = Annotated[str, Field(min_length=1, max_length=100)]
Words = Annotated[str, Field(max_length=300)]
Amount = Annotated[float, Field(ge=-1e9, le=1e9, allow_inf_nan=False)]


class MovementSent(Schema):
    """One thing done with an account of the shelf. ``quantity`` is in the stock unit of the part: of a count what lies
    there, of an adjustment what is added, or taken off below zero.
    """

    does: Literal["count", "move", "hold", "release", "adjust", "scrap"]
    part_number: Name
    lot: Name
    place: Name
    quantity: Amount
    condition: Literal["usable", "quarantine"] = "usable"
    packet: Literal["sealed", "resealed", "loose"] = "sealed"
    to_place: Annotated[str, Field(max_length=100)] = ""
    decides: Literal["lead", "purchasing", "storeroom", "customer"] = "lead"
    reason: Words = ""


class LotSent(Schema):
    """One lot that came: what its bag says, how many, and where they go. Without a code one is made."""

    lot: Annotated[str, Field(max_length=100)] = ""
    quantity: Annotated[float, Field(gt=0, le=1e9, allow_inf_nan=False)]
    place: Name
    condition: Literal["usable", "quarantine"] = "usable"
    cure: Annotated[str, Field(max_length=30)] = ""
    last_use: date | None = None
    maker_batch: Annotated[str, Field(max_length=100)] = ""
    certificate: Annotated[str, Field(max_length=200)] = ""
    owner: Annotated[str, Field(max_length=200)] = ""


class DeliverySent(Schema):
    """What came of a part, with its order line or without."""

    part_number: Name
    order: Annotated[str, Field(max_length=100)] = ""
    line: Annotated[str, Field(max_length=100)] = ""
    lots: Annotated[list[LotSent], Field(min_length=1, max_length=20)]
    reason: Words = ""
    short_life_reason: Words = ""
    over_reason: Words = ""


class ReasonSent(Schema):
    """Why."""

    reason: Annotated[str, Field(min_length=1, max_length=300)]


class BookedPostings(Schema):
    """What was booked; nothing where a count agreed with the book."""

    postings: list[PostingFacts]


ANSWERS: dict[Any, Any] = {201: BookedPostings, **REFUSALS_OF_CHANGES}


@router.post("/movements", response=ANSWERS)
def post_movement(request: HttpRequest, sent: MovementSent, key: RequestKey) -> Any:
    """Count, move, hold, release, adjust or scrap pieces of one lot at one place."""
    person = require(request, BOOK)
    booked_as = request_key(request, "movement", key, sent.dict())
    source = OnShelf(_lot(sent).pk, _place(sent.place, "place").pk, sent.condition, sent.packet)
    around: dict[str, Any] = {"reason": sent.reason, "by": person, "at": timezone.now(), "key": booked_as}
    posting = _BOOK[sent.does](sent, source, _millionths(sent.quantity), around)
    return _answer([posting] if posting else [])


@router.post("/deliveries", response=ANSWERS)
def receive(request: HttpRequest, sent: DeliverySent, key: RequestKey) -> Any:
    """Put the lots of a delivery on the shelf, and take them off their order line."""
    person = require(request, BOOK)
    booked_as = request_key(request, "delivery", key, sent.dict())
    item, line, as_of = _item(sent.part_number), _order_line(sent), today()
    lots = [_delivered(one) for one in sent.lots]
    postings = receive_delivery(
        item=item,
        order_line=line,
        lots=lots,
        asked=asked_of_delivery(item, line, lots, today=as_of),
        reason=sent.reason,
        short_life_reason=sent.short_life_reason,
        over_reason=sent.over_reason,
        by=person,
        at=timezone.now(),
        today=as_of,
        key=booked_as,
    )
    return _answer(postings)


@router.post("/movements/{posting}/take-back", response=ANSWERS)
def take_posting_back(
    request: HttpRequest, posting: Annotated[int, Path(ge=1, le=LARGEST_NUMBER)], sent: ReasonSent, key: RequestKey
) -> Any:
    """Post the reverse of a posting."""
    person = require(request, BOOK)
    booked_as = request_key(request, "back", key, [posting, sent.reason])
    found = Posting.objects.filter(pk=posting).first()
    if found is None:
        raise ApiRefusal(404, f"There is no posting {posting}.")
    if not may_be_taken_back(found, reversed_already=False):
        raise ApiRefusal(409, f"Posting {posting} is not taken back by itself: undo what it belongs to, on its page.")
    return _answer([take_back(posting=found, reason=sent.reason, by=person, at=timezone.now(), key=booked_as)])


def _count(sent: MovementSent, source: OnShelf, quantity: int, around: dict[str, Any]) -> Posting | None:
    # A count that was booked answers as it did, whatever lies there by now.
    kinds = (PostingKind.OPENING, PostingKind.COUNT)
    earlier = Posting.objects.filter(key__in=[f"{around['key']}:{kind.value}" for kind in kinds]).first()
    return earlier or actions.count_shelf(account=source, counted=quantity, **around)


def _move(sent: MovementSent, source: OnShelf, quantity: int, around: dict[str, Any]) -> Posting:
    target = replace(source, place_id=_place(sent.to_place, "to_place").pk)
    return actions.move_stock(source=source, target=target, quantity=quantity, **around)


def _hold(sent: MovementSent, source: OnShelf, quantity: int, around: dict[str, Any]) -> Posting:
    where = _place(sent.to_place or sent.place, "to_place").pk
    return actions.hold_stock(source=source, place_id=where, quantity=quantity, decides=sent.decides, **around)


def _release(sent: MovementSent, source: OnShelf, quantity: int, around: dict[str, Any]) -> Posting:
    where = _place(sent.to_place, "to_place").pk
    return actions.release_stock(source=source, place_id=where, quantity=quantity, **around)


def _adjust(sent: MovementSent, source: OnShelf, quantity: int, around: dict[str, Any]) -> Posting:
    return actions.adjust_stock(account=source, change=quantity, **around)


def _scrap(sent: MovementSent, source: OnShelf, quantity: int, around: dict[str, Any]) -> Posting:
    return actions.scrap_stock(source=source, quantity=quantity, **around)


_BOOK: dict[str, Any] = {
    "count": _count,
    "move": _move,
    "hold": _hold,
    "release": _release,
    "adjust": _adjust,
    "scrap": _scrap,
}


def _answer(postings: list[Posting]) -> Status[BookedPostings]:
    told = postings_told().filter(pk__in=[posting.pk for posting in postings]).order_by("pk")
    return Status(201, BookedPostings(postings=tell_postings(told)))


def _item(part_number: str) -> Item:
    item = Item.objects.by_number(part_number)
    if item is None:
        raise ApiRefusal(422, f"part_number: nobody knows {part_number}: the list Items has every number.")
    return item


def _lot(sent: MovementSent) -> Lot:
    item = _item(sent.part_number)
    lot = Lot.objects.by_code(item, sent.lot)
    if lot is None:
        raise ApiRefusal(422, f"lot: {item.part_number} has no lot {sent.lot}: the list Lots has them all.")
    return lot


def _place(name: str, column: str) -> Place:
    place = Place.objects.by_name(name)
    if place is None:
        raise ApiRefusal(422, f"{column}: there is no place {name or 'without a name'}: the list Places has them all.")
    return place


def _order_line(sent: DeliverySent) -> OrderLine | None:
    if not sent.order and not sent.line:
        return None
    line = OrderLine.objects.select_related("item").by_number(sent.order, sent.line)
    if line is None:
        raise ApiRefusal(
            422, f"order: there is no line {sent.line} of order {sent.order}: the list Orders has them all."
        )
    if line.item != _item(sent.part_number):
        raise ApiRefusal(422, f"part_number: line {sent.line} of order {sent.order} is for {line.item.part_number}.")
    return line


def _delivered(one: LotSent) -> DeliveredLot:
    facts = LotFacts(one.cure, one.last_use, None, one.maker_batch, one.certificate, one.owner)
    return DeliveredLot(one.lot, facts, _millionths(one.quantity), _place(one.place, "place").pk, one.condition)


def _millionths(quantity: float) -> int:
    exact = Decimal(str(quantity)) * ONE
    if exact != exact.to_integral_value():
        raise ApiRefusal(422, f"quantity: {quantity} has more than six decimals: round it.")
    return int(exact)
