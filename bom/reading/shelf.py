"""The shelf as the plan sees it: each row with what is drawn from it and what is left, and the stock of each item."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from bom.plan import Plan
from bom.reading.askers import Asker
from bom.structure.arrays import LAST_DAY, as_date
from bom.values import Lot


@dataclass(frozen=True, slots=True)
class Take:
    """Millionths that the plan takes from one row of the shelf; ``asker`` is None for planned wear.

    ``way`` is the kit or made assembly that they are packed into, empty where the asker itself asks for them.
    """

    asker: Asker | None
    quantity: int
    need_on: date
    build_on: date
    way: str
    wear: bool


@dataclass(frozen=True, slots=True)
class LotRow:
    """One lot at one place in one packet: what the plan takes of it, and the millionths that nobody has claimed.

    What is set aside for jobs is neither taken nor left. A row that is not ``usable`` is left out of the plan.
    """

    lot: Lot
    usable: bool
    takes: tuple[Take, ...]
    left: int

    @property
    def taken(self) -> int:
        """Everything that the plan takes from it, in millionths."""
        return sum(take.quantity for take in self.takes)


@dataclass(frozen=True, slots=True)
class ItemStock:
    """What there is of one item, in millionths: on usable lots and in bags, on order, and left out by reason."""

    on_hand: int
    on_order: int
    left_out: Mapping[str, int]


def shelf_of(plan: Plan, askers: tuple[Asker, ...]) -> Iterator[LotRow]:
    """The rows of the shelf in the order of the shop's lots."""
    usable = set(plan.supplies.usable_lots)
    left = dict(zip(plan.supplies.lot_place.tolist(), plan.supplies.left.tolist(), strict=True))
    takes = _takes(plan, askers)
    for place, lot in enumerate(plan.shop.lots):
        yield LotRow(lot, place in usable, tuple(takes.get(place, ())), left.get(place, 0))


def _takes(plan: Plan, askers: tuple[Asker, ...]) -> dict[int, list[Take]]:
    """What is taken from each row, by its place among the lots."""
    pieces, draws, supplies = plan.netting.pieces, plan.netting.draws, plan.supplies
    items = plan.demand.structure.items
    rows = np.flatnonzero(draws.supply >= 0)
    place = supplies.lot_place[draws.supply[rows]]
    rows, place = rows[place >= 0], place[place >= 0]
    of = draws.piece[rows]
    columns = (place, pieces.job[of], draws.quantity[rows], pieces.need_day[of], pieces.build_day[of], pieces.way[of])
    found: dict[int, list[Take]] = defaultdict(list)
    for at, job, quantity, need, build, way, wear in zip(
        *(column.tolist() for column in columns), pieces.wear[of].tolist(), strict=True
    ):
        asker = askers[job] if job >= 0 else None
        into = items[way].part_number if way >= 0 else ""
        found[at].append(Take(asker, quantity, as_date(need), as_date(build), into, wear))
    return found


def dying_by_day(plan: Plan, item: int) -> dict[date, int]:
    """Millionths of one item that nobody has claimed of lots that run out before the last build, on the day after.

    What is too old for every build is not on hand to begin with.
    """
    supplies, netting = plan.supplies, plan.netting
    found: dict[date, int] = defaultdict(int)
    for supply in range(int(supplies.first[item]), int(supplies.first[item + 1])):
        last, left = int(supplies.last_day[supply]), int(supplies.left[supply])
        if left and netting.first_build[item] <= last < min(LAST_DAY, netting.last_build_day):
            found[as_date(last + 1)] += left
    return dict(found)


def stock_of(plan: Plan, item: int) -> ItemStock:
    """What there is of one item."""
    supplies = plan.supplies
    left_out = {why: quantity for why, quantity in sorted(supplies.left_out.get(item, {}).items()) if quantity}
    return ItemStock(int(supplies.on_hand[item]), int(supplies.on_order[item]), left_out)
