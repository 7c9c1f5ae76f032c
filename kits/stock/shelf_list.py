"""What lies where: the balances of the shelf, place by place in walk order."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import F, Q

from kits.catalog.amounts import Amount
from kits.catalog.folding import fold
from kits.stock.models import Balance
from kits.stock.words import Condition, Packet, PlaceKind

PACKET_SAYS = {Packet.SEALED: "", Packet.RESEALED: "opened bag, closed again", Packet.LOOSE: "without its bag"}


@dataclass(frozen=True, slots=True)
class ShelfRow:
    """One lot at one place in one condition and packet."""

    balance_id: int
    lot_id: int
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

    @property
    def known(self) -> str:
        """What is to be known of it, in words."""
        said = [
            "quarantine" if self.quarantined else "",
            self.packet,
            "past its last use" if self.past else "",
            f"belongs to {self.owner}" if self.owner else "",
        ]
        return ", ".join(filter(None, said))


def shelf_rows(*, words: str, place: str, today: date) -> list[ShelfRow]:
    """Balances of one place if named, whose place, part or lot holds all the words, in walk order; one statement."""
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
    return [shelf_row(balance, today) for balance in found.order_by(*order)]


def shelf_row(balance: Balance, today: date) -> ShelfRow:
    """One balance as it is shown."""
    lot, place = balance.lot, balance.place
    last_use_on = lot.last_use_on
    return ShelfRow(
        balance_id=balance.pk,
        lot_id=lot.pk,
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
