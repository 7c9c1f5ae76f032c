"""How the first stock-take sorts what it finds: dated goes on the shelf, undated is held."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from kits.catalog.models import Item
from kits.stock.models import Lot
from kits.stock.words import Condition


@dataclass(frozen=True, slots=True)
class Sorted:
    """A lot as it was written down; ``held`` says that it has a shelf life but no date, so that nobody may use it."""

    lot: Lot
    held: bool


def found_condition(lot: Lot) -> Condition:
    """In which condition a lot found on the shelf is put down."""
    undated = lot.item.shelf_life_months is not None and lot.last_use_on is None
    return Condition.QUARANTINE if undated else Condition.USABLE


def next_found_code(item: Item, today: date) -> str:
    """A code for a lot whose bag bears none: the day, and the first number that is free."""
    stem = f"FOUND-{today:%y%m%d}-"
    taken = set(Lot.objects.filter(item=item, lot__startswith=stem).values_list("lot", flat=True))
    return next(code for number in range(1, len(taken) + 2) if (code := f"{stem}{number}") not in taken)
