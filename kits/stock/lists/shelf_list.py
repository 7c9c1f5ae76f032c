"""What lies where: the balances of the shelf, place by place in walk order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from kits.catalog.amounts import Amount
from kits.catalog.caching.late_rows import LateRows
from kits.catalog.folding import fold
from kits.stock.lists.shelf_facts import ShelfFact, shelf_facts
from kits.stock.words import Packet

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


def shelf_rows(*, words: str, place: str, today: date) -> Sequence[ShelfRow]:
    """Balances of one place if named, whose place, part or lot holds all the words, in walk order."""
    found: Sequence[ShelfFact] = shelf_facts()
    if place:
        found = [fact for fact in found if fact.place_folded == fold(place)]
    for key in map(fold, words.split()):
        found = [fact for fact in found if _holds(fact, key)]
    return LateRows(found, lambda fact: row_of(fact, today))


def _holds(fact: ShelfFact, key: str) -> bool:
    texts = (fact.place_folded, fact.lot_folded, fact.item.folded)
    return any(key in text for text in texts) or key in fold(fact.item.description)


def row_of(fact: ShelfFact, today: date) -> ShelfRow:
    """One account as it is shown."""
    item = fact.item
    return ShelfRow(
        balance_id=fact.balance_id,
        lot_id=fact.lot_id,
        place=fact.place,
        part_number=item.part_number,
        kind=item.kind,
        what=item.description,
        lot=fact.lot,
        quantity=Amount.of(fact.quantity, item.stock_unit),
        last_use_on=fact.last_use_on,
        past=fact.last_use_on is not None and fact.last_use_on < today,
        packet=PACKET_SAYS[Packet(fact.packet)],
        quarantined=fact.held,
        owner=fact.owner,
    )
