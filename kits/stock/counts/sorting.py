"""How the first stock-take sorts what it finds: dated goes on the shelf, undated is held."""

from __future__ import annotations

from dataclasses import dataclass

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
