"""The pieces of a plan and what serves each: lot, place and packet, order line, the job's own bag."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from enum import Enum

from bom.buying.order_size import known_day
from bom.plan import Plan
from bom.reading.askers import Asker
from bom.reading.groups import Groups
from bom.status.jobs import STATUS
from bom.structure.arrays import as_date
from bom.supply.matching import OWN, PACKED, UNCOVERED
from bom.values import Lot, OrderLine


class ServedBy(Enum):
    """What serves a quantity of a piece; ``RESERVED`` lies on the shelf for its job, ``BAG`` in the job's bag."""

    BAG = "bag"
    RESERVED = "reserved"
    LOT = "lot"
    ORDER = "order"
    PACKED = "packed"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class Served:
    """A quantity of a piece, in millionths, and what serves it.

    ``lot`` is the row of the shelf it lies in, with place and packet, and ``order`` the line that brings it, ``late``
    after the day on which it is needed.
    """

    source: ServedBy
    quantity: int
    lot: Lot | None = None
    order: OrderLine | None = None
    late: bool = False


@dataclass(frozen=True, slots=True)
class Piece:
    """All that one asker asks of one item along one way; ``asker`` is None for planned wear. Quantities in millionths.

    ``way`` is the kit or made assembly that asks for it, empty where the asker itself does. ``contents`` are what
    packing or making it asks for; what a kit from the shelf is without stands beside it. ``state`` is one of ready,
    waiting, late and short.
    """

    part_number: str
    asker: Asker | None
    quantity: int
    need_on: date
    build_on: date
    way: str
    wear: bool
    state: str
    here_on: date | None
    served: tuple[Served, ...]
    contents: tuple[Piece, ...]


class PieceTable:
    """The pieces of a plan, made as they are asked for."""

    def __init__(self, plan: Plan, askers: tuple[Asker, ...]) -> None:
        self._plan, self._askers = plan, askers
        pieces, draws = plan.netting.pieces, plan.netting.draws
        self._of_asker = Groups(pieces.job, len(askers))
        self._of_item = Groups(pieces.item, len(plan.demand.structure.items))
        self._below = Groups(pieces.parent, pieces.size)
        self._drawn = Groups(draws.piece, pieces.size)

    def of_asker(self, turn: int) -> Iterator[Piece]:
        """What one asker is sure to ask for, without what it is packed from, which stands under it.

        Parameters
        ----------
        turn : place of the job or other need in the order of serving
        """
        pieces = self._plan.netting.pieces
        for number in self._of_asker[turn]:
            if pieces.parent[number] < 0:
                yield self.piece(number)

    def served_of(self, turn: int, only: int | None = None) -> Iterator[tuple[str, Served]]:
        """What serves those pieces of one asker, each with its part number; quicker than the pieces themselves.

        Parameters
        ----------
        turn : place of the job or other need in the order of serving
        only : number of the one item that is asked about; None for all
        """
        pieces, items = self._plan.netting.pieces, self._plan.demand.structure.items
        for number in self._of_asker[turn]:
            if pieces.parent[number] < 0 and (only is None or pieces.item[number] == only):
                part_number = items[pieces.item[number]].part_number
                for row in self._drawn[number]:
                    yield part_number, self._served(row)

    def of_item(self, item: int) -> Iterator[Piece]:
        """Everything that is asked of one item, wherever it stands.

        Parameters
        ----------
        item : number of the item
        """
        return (self.piece(number) for number in self._of_item[item])

    def piece(self, number: int) -> Piece:
        """One piece by its number.

        Parameters
        ----------
        number : of the piece
        """
        plan, pieces = self._plan, self._plan.netting.pieces
        asker, way = int(pieces.job[number]), int(pieces.way[number])
        items = plan.demand.structure.items
        return Piece(
            part_number=items[pieces.item[number]].part_number,
            asker=self._askers[asker] if asker >= 0 else None,
            quantity=int(pieces.quantity[number]),
            need_on=as_date(pieces.need_day[number]),
            build_on=as_date(pieces.build_day[number]),
            way=items[way].part_number if way >= 0 else "",
            wear=bool(pieces.wear[number]),
            state=STATUS[plan.found.state[number]],
            here_on=known_day(int(plan.found.day[number])),
            served=tuple(self._served(row) for row in self._drawn[number]),
            contents=tuple(self.piece(below) for below in self._below[number]),
        )

    def _served(self, row: int) -> Served:
        plan, draws, supplies = self._plan, self._plan.netting.draws, self._plan.supplies
        supply, quantity = int(draws.supply[row]), int(draws.quantity[row])
        if supply == OWN:
            place = int(draws.own_lot[row])
            if place < 0:
                return Served(ServedBy.BAG, quantity)
            return Served(ServedBy.RESERVED, quantity, lot=plan.shop.lots[place])
        if supply < 0:
            return Served({PACKED: ServedBy.PACKED, UNCOVERED: ServedBy.NOTHING}[supply], quantity)
        place, line = int(supplies.lot_place[supply]), int(supplies.order_place[supply])
        if place >= 0:
            return Served(ServedBy.LOT, quantity, lot=plan.shop.lots[place])
        late = bool(plan.found.late_draw[row])
        return Served(ServedBy.ORDER, quantity, order=plan.shop.orders[line], late=late)
