"""What is looked at when a lot comes in: its dates, the life it has left, its certificate, how many were ordered."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.days.words import in_full
from kits.catalog.fields import quantity_text
from kits.catalog.models import Item
from kits.purchasing.receiving.life import AskedLife, LotLife, life_of, too_old
from kits.stock.errors import StockRefusal
from kits.stock.models import Lot
from kits.stock.words import Condition
from kits.stock.writes import LotFacts


@dataclass(frozen=True, slots=True)
class DeliveredLot:
    """One lot of a delivery: its code (blank where the bag bears none), what its bag says, how many, where they go."""

    code: str
    facts: LotFacts
    quantity: int
    place_id: int
    condition: str = Condition.USABLE.value


def refuse_lot(item: Item, lot: DeliveredLot, *, today: date, asked: AskedLife | None, accepted: str) -> bool:
    """Refuse a lot that may not go on the shelf, and say whether it is taken with too little life left.

    ``accepted`` says why such a lot is taken.
    """
    if lot.condition == Condition.QUARANTINE:
        return False
    known = Lot.objects.by_code(item, lot.code) if lot.code else None
    life = life_of(item, lot.facts, known, today)
    named = f"Lot {lot.code} of {item.part_number}" if lot.code else f"The lot of {item.part_number}"
    for says in _objections(item, lot, known, life, today):
        raise StockRefusal(f"{named} {says}")
    lacks = too_old(item, life, asked)
    if lacks and not accepted.strip():
        raise StockRefusal(f"{named} {lacks}: send it back, receive it into quarantine, or say why it is accepted.")
    return bool(lacks)


def refuse_parts_of_pieces(item: Item, lots: Sequence[DeliveredLot]) -> None:
    """Refuse a quantity that is no whole number of what is counted in pieces."""
    for lot in lots:
        if item.countable and lot.quantity % ONE:
            raise StockRefusal(
                f"{quantity_text(lot.quantity)} of {item.part_number} is no whole number, but it is counted in pieces: "
                "give a whole number."
            )


def over_delivery(item: Item, ordered: int, lots: Sequence[DeliveredLot]) -> Amount | None:
    """How many more came than are still to come, None where not."""
    over = sum(lot.quantity for lot in lots) - ordered
    return Amount.of(over, item.stock_unit) if over > 0 else None


def _objections(item: Item, lot: DeliveredLot, known: Lot | None, life: LotLife, today: date) -> Iterator[str]:
    if life.end is None and item.shelf_life_months is not None:
        yield "has no cure date and no use-by date: write one from the bag, or receive it into quarantine."
    if life.end is not None and life.end < today:
        clock = f" (read from the cure date, its clock started on {in_full(life.cure.starts_on)})" if life.cure else ""
        yield f"is past its last day of use, {in_full(life.end)}{clock}: send it back, or receive it into quarantine."
    if item.certificate_needed and not (lot.facts.certificate.strip() or (known and known.certificate)):
        yield "needs a certificate: write its reference, or receive the lot into quarantine until it is here."
