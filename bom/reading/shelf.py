"""The shelf as the plan sees it: each row with what is drawn from it and what is left, and the stock of each item."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np

from bom.plan import Plan
from bom.reading.askers import Asker
from bom.reading.groups import Groups
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


class Shelf:
    """The rows of the shelf in the order of the shop's lots, each made when it is asked for."""

    def __init__(self, plan: Plan, askers: tuple[Asker, ...]) -> None:
        self._plan, self._askers = plan, askers
        self._usable = frozenset(plan.supplies.usable_lots)
        self._left = dict(zip(plan.supplies.lot_place.tolist(), plan.supplies.left.tolist(), strict=True))

    def __iter__(self) -> Iterator[LotRow]:
        """Every row."""
        return self.where(lambda lot: True)

    def where(self, wanted: Callable[[Lot], bool]) -> Iterator[LotRow]:
        """The rows of the lots that are wanted.

        Parameters
        ----------
        wanted : says of a lot whether it is looked for
        """
        return (self.row(place) for place, lot in enumerate(self._plan.shop.lots) if wanted(lot))

    def usable(self) -> Iterator[Lot]:
        """The lots that the plan counts on."""
        return (lot for place, lot in enumerate(self._plan.shop.lots) if place in self._usable)

    def row(self, place: int) -> LotRow:
        """One row by its place among the lots.

        Parameters
        ----------
        place : place among the shop's lots
        """
        taken = tuple(self._takes(self._drawn[place]))
        return LotRow(self._plan.shop.lots[place], place in self._usable, taken, self._left.get(place, 0))

    @cached_property
    def _drawn(self) -> Groups:
        """The draws by the row that they are taken from."""
        supply, lot_place = self._plan.netting.draws.supply, self._plan.supplies.lot_place
        drawn = np.full(len(supply), -1, np.int64)
        on_hand = supply >= 0
        drawn[on_hand] = lot_place[supply[on_hand]]
        return Groups(drawn, len(self._plan.shop.lots))

    @cached_property
    def _columns(self) -> tuple[list[int], ...]:
        """Of each draw: who asks, how many, need day, build day, way, whether it is for wear."""
        pieces, draws = self._plan.netting.pieces, self._plan.netting.draws
        of = draws.piece
        columns = (pieces.job[of], draws.quantity, pieces.need_day[of], pieces.build_day[of], pieces.way[of])
        return *(column.tolist() for column in columns), pieces.wear[of].tolist()

    def _takes(self, draws: Iterable[int]) -> Iterator[Take]:
        items = self._plan.demand.structure.items
        for draw in draws:
            job, quantity, need, build, way, wear = (column[draw] for column in self._columns)
            asker = self._askers[job] if job >= 0 else None
            into = items[way].part_number if way >= 0 else ""
            yield Take(asker, quantity, as_date(need), as_date(build), into, bool(wear))


def dying_by_day(plan: Plan, item: int) -> dict[date, int]:
    """Millionths of one item that nobody has claimed of lots that run out before the last build, on the day after.

    What is too old for every build is not on hand to begin with.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    """
    supplies, netting = plan.supplies, plan.netting
    found: dict[date, int] = defaultdict(int)
    for supply in range(int(supplies.first[item]), int(supplies.first[item + 1])):
        last, left = int(supplies.last_day[supply]), int(supplies.left[supply])
        if left and netting.first_build[item] <= last < min(LAST_DAY, netting.last_build_day):
            found[as_date(last + 1)] += left
    return dict(found)


def stock_of(plan: Plan, item: int) -> ItemStock:
    """What there is of one item.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    """
    supplies = plan.supplies
    left_out = {why: quantity for why, quantity in sorted(supplies.left_out.get(item, {}).items()) if quantity}
    return ItemStock(int(supplies.on_hand[item]), int(supplies.on_order[item]), left_out)
