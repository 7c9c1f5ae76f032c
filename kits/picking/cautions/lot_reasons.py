"""Why this lot and not another: what is wrong with the others, or why they come later."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from bom.structure.packets import packet_bars
from bom.values import Item, Lot
from kits.catalog.days.words import in_full
from kits.catalog.folding import fold

LATEST = date.max
SHOWN = 3


@dataclass(frozen=True, slots=True)
class Taken:
    """The lot that is taken, the latest build day that it has to last to, and whose jobs it goes to."""

    lot: Lot
    lasts_to: date
    customers: frozenset[str]


def why_this_lot(item: Item, taken: Taken, lots: Iterable[Lot], as_of: date) -> str:
    """One sentence on the choice among the lots of one item, empty where there was none."""
    others = [lot for lot in lots if lot.quantity > 0 and not _is_taken(item, taken.lot, lot)]
    barred = [says for lot in others if (says := _barred(item, taken, lot, as_of))]
    free = [lot for lot in others if not _barred(item, taken, lot, as_of)]
    sentences = [_before(taken.lot, free)] if free else []
    if barred:
        sentences.append("; ".join(dict.fromkeys(barred[:SHOWN])))
    return " ".join(f"{says[0].upper()}{says[1:]}." for says in sentences)


def _is_taken(item: Item, taken: Lot, lot: Lot) -> bool:
    """Whether it is the very lot at the very place; pieces of it in a packet that may not be used are others."""
    same = (lot.lot, lot.place, lot.condition) == (taken.lot, taken.place, taken.condition)
    return same and not packet_bars(item, lot.packet)


def _barred(item: Item, taken: Taken, lot: Lot, as_of: date) -> str:
    named = f"not lot {lot.lot}" + (f" at {lot.place}" if lot.place != taken.lot.place else "")
    if (lot.lot, lot.place, lot.condition) == (taken.lot.lot, taken.lot.place, taken.lot.condition):
        named = "not what lies there of the lot"
    if lot.condition == "quarantine":
        return f"{named}, in quarantine"
    if item.limited_life and lot.last_use is None:
        return f"{named}, without a cure date"
    if lot.last_use is not None and lot.last_use < as_of:
        return f"{named}, past its last use on {in_full(lot.last_use)}"
    if packet_bars(item, lot.packet):
        return f"{named}, {'out of its packet' if lot.packet == 'loose' else 'from an opened packet'}"
    if lot.owner and fold(lot.owner) not in taken.customers:
        return f"{named}, which belongs to {lot.owner}"
    if lot.last_use is not None and lot.last_use < taken.lasts_to:
        return f"{named}, which runs out on {in_full(lot.last_use)}, before the build"
    return ""


def _before(taken: Lot, free: list[Lot]) -> str:
    """Why the lot comes before the others that would do as well."""
    first = min(free, key=lambda lot: (lot.last_use or LATEST, lot.received or LATEST, lot.lot))
    named = f"{first.lot} at {first.place}"
    if first.lot == taken.lot:
        return f"the same lot lies at {first.place} too"
    if (taken.last_use or LATEST) < (first.last_use or LATEST):
        until = f" lasts to {in_full(first.last_use)}" if first.last_use else " does not run out"
        return f"runs out first; lot {named}{until}"
    if taken.last_use == first.last_use and (taken.received or LATEST) < (first.received or LATEST):
        return f"received before lot {named}"
    return f"lot {named} goes to another job" if taken.last_use != first.last_use else f"before lot {named} by its code"
