"""What lies where: the balances of the shelf, place by place in walk order."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.core.paginator import Page, Paginator
from django.db.models import F, Q

from kits.catalog.amounts import Amount
from kits.catalog.folding import fold
from kits.stock.models import Balance, Place
from kits.stock.words import Condition, Packet, PlaceKind

ROWS_PER_PAGE = 100
PACKET_SAYS = {Packet.SEALED: "", Packet.RESEALED: "opened bag, closed again", Packet.LOOSE: "without its bag"}


@dataclass(frozen=True, slots=True)
class ShelfRow:
    """One lot at one place in one condition and packet."""

    place: str
    part_number: str
    kind: str
    what: str
    lot: str
    quantity: Amount
    last_use_on: date | None
    past: bool
    packet: str
    quarantined: bool
    owner: str


@dataclass(frozen=True, slots=True)
class ShelfList:
    """One page of the shelf. ``places`` counts all places, ``lots`` the balances found."""

    words: str
    place: str
    places: int
    lots: int
    rows: tuple[ShelfRow, ...]
    page: Page[Balance]


def shelf_list(*, words: str, place: str, page: int, today: date) -> ShelfList:
    """Balances of one place if named, whose place, part or lot holds all the words, in walk order; three statements."""
    found = Balance.objects.on_shelf().filter(quantity__gt=0).select_related("lot__item", "place")
    if place:
        found = found.filter(place__folded=fold(place))
    for word in words.split():
        key = fold(word)
        found = found.filter(
            Q(place__folded__contains=key)
            | Q(lot__folded__contains=key)
            | Q(lot__item__folded__contains=key)
            | Q(lot__item__description__icontains=word)
        )
    order = (F("place__walk_order").asc(nulls_last=True), "place__folded", "lot__item__folded", "lot__folded", "id")
    pages = Paginator(found.order_by(*order), ROWS_PER_PAGE)
    shown = pages.get_page(page)
    rows = tuple(shelf_row(balance, today) for balance in shown.object_list)
    return ShelfList(words, place, Place.objects.count(), pages.count, rows, shown)


def shelf_row(balance: Balance, today: date) -> ShelfRow:
    """One balance as it is shown."""
    lot, place = balance.lot, balance.place
    last_use_on = lot.last_use_on
    return ShelfRow(
        place=place.place if place else "",
        part_number=lot.item.part_number,
        kind=lot.item.kind,
        what=lot.item.description,
        lot=lot.lot,
        quantity=Amount.of(balance.quantity, lot.item.stock_unit),
        last_use_on=last_use_on,
        past=last_use_on is not None and last_use_on < today,
        packet=PACKET_SAYS[Packet(balance.packet)],
        quarantined=balance.condition == Condition.QUARANTINE
        or (place is not None and place.kind == PlaceKind.QUARANTINE),
        owner=lot.owner,
    )
