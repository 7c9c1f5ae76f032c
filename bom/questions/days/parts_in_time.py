"""Which jobs may be built by which day, as far as parts are concerned: for each item, what is here by then.

A lot serves the build days up to its last day of use, an order the need days from its promised day on. The plan turns
to a purchase only when all orders are used up, however late they come, so there is no limit from the day on which the
last of them and a purchase of today are here. Until then a set of build days can be served if, for each first day and
each last one, the pieces between them ask for no more than the lots that live to the first and the orders that have
come by the last (the condition of P. Hall, 1935: who serves a set of days is told by its first and its last day alone).
The plan, which serves day after day, the lot that dies first before the others and orders last, finds such an
assignment whenever there is one.

Kits are taken as the plan gives them: who gets one from the shelf asks for the kit, for whom one is packed asks for
what goes into it, so many working days earlier as packing takes.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np

from bom.plan import Plan
from bom.questions.days.outcome import Days
from bom.structure.arrays import LAST_DAY, as_date
from bom.supply.matching import UNCOVERED

NO_END = 10**6
"""A working day beyond all others."""


@dataclass(frozen=True, slots=True)
class AskedPiece:
    """What one asker asks of one item beyond what is its own: millionths, and by how many working days earlier.

    ``drawn`` is what the plan gives it of that, from lots and orders.
    """

    asker: int
    quantity: int
    drawn: int
    earlier: int


@dataclass(frozen=True, slots=True)
class PartsLimit:
    """Jobs that are built from day ``first`` on may take no more than ``held`` millionths of an item until it has come.

    ``takes`` are asker number, millionths, and the last build day on which the asker still counts.
    """

    item: int
    first: int
    held: int
    takes: tuple[tuple[int, int, int], ...]


@dataclass(frozen=True, slots=True)
class PartsInTime:
    """All limits of a plan; ``served_by`` is, by asker, the first build day from which none of them holds it."""

    limits: tuple[PartsLimit, ...]
    served_by: dict[int, int]


class _Shelf:
    """What there is of one item: lots by their last build day, orders by the day on which they are here."""

    def __init__(self, plan: Plan, days: Days, item: int) -> None:
        supplies = plan.netting.shelf
        self.lots: list[tuple[int, int]] = []
        self.orders: list[tuple[int, int]] = []
        for supply in range(int(supplies.first[item]), int(supplies.first[item + 1])):
            quantity = int(supplies.left[supply])
            if supplies.order_place[supply] >= 0:
                self.orders.append((days.number(as_date(int(supplies.arrives[supply]))), quantity))
            elif not supplies.owner[supply]:
                last = int(supplies.last_day[supply])
                self.lots.append((NO_END if last >= LAST_DAY else _last_build(days, last), quantity))

    def held(self, first: int, by: int) -> int:
        """Millionths for build days from ``first`` on and need days until ``by``."""
        lots = sum(quantity for last, quantity in self.lots if last >= first)
        return lots + sum(quantity for here, quantity in self.orders if here <= by)


def parts_in_time(plan: Plan, moved: Collection[int]) -> PartsInTime:
    """Work out the limits for jobs that may be moved; all others keep their days and what the plan gives them.

    Parameters
    ----------
    plan : the finished plan
    moved : numbers of the askers that may be moved
    """
    days, staging = Days(plan), plan.shop.staging_days
    served_by: dict[int, int] = defaultdict(int)
    limits: list[PartsLimit] = []
    for item, pieces in _pieces(plan).items():
        shelf = _Shelf(plan, days, item)
        asked = sum(piece.quantity for piece in pieces)
        if asked <= shelf.held(NO_END, -1):
            continue
        arrival = plan.book.choose(item, asked, plan.as_of).arrives_on
        fresh = NO_END if arrival is None else days.number(as_date(arrival))
        movable = [piece for piece in pieces if piece.asker in moved]
        for piece in movable:
            if fresh < NO_END:
                here = max(fresh, *(here for here, _ in shelf.orders), 0)
                served_by[piece.asker] = max(served_by[piece.asker], here + staging + piece.earlier)
        kept = [(piece, _kept_days(plan, days, piece)) for piece in pieces if piece.asker not in moved]
        limits += _limits(plan, item, shelf, movable, kept, fresh)
    return PartsInTime(tuple(limits), dict(served_by))


def _limits(
    plan: Plan,
    item: int,
    shelf: _Shelf,
    movable: list[AskedPiece],
    kept: list[tuple[AskedPiece, tuple[int, int]]],
    fresh: int,
) -> Iterator[PartsLimit]:
    """The limits of one item until a purchase of today is here, each for a first build day and a last need day."""
    firsts = sorted({0, *(last + 1 for last, _ in shelf.lots if 0 <= last < NO_END)})
    lasts = sorted({here - 1 for here in (fresh, *(here for here, _ in shelf.orders)) if here})
    until = {piece: _staging(plan, piece) + piece.earlier for piece in movable}
    for first in firsts:
        for last in lasts:
            others = sum(piece.drawn for piece, (need, build) in kept if need <= last and build >= first)
            held = max(0, shelf.held(first, last) - others)
            takes = tuple(
                (piece.asker, piece.quantity, last + until[piece]) for piece in movable if last + until[piece] >= first
            )
            if sum(quantity for _, quantity, _ in takes) > held:
                yield PartsLimit(item, first, held, takes)


def _staging(plan: Plan, piece: AskedPiece) -> int:
    """Working days between the need day and the build day; what is no job has none."""
    return plan.shop.staging_days if plan.demand.askers[piece.asker].job else 0


def _kept_days(plan: Plan, days: Days, piece: AskedPiece) -> tuple[int, int]:
    """Need day and build day of a piece that is not moved."""
    asker = plan.demand.askers[piece.asker]
    build = max(0, days.number(as_date(asker.build_day)))
    return max(0, build - _staging(plan, piece) - piece.earlier), build


def _last_build(days: Days, last_day: int) -> int:
    """The last build day of a lot that may be used until ``last_day``."""
    return days.number(as_date(last_day + 1)) - 1


def _pieces(plan: Plan) -> dict[int, list[AskedPiece]]:
    """Sure pieces by item, less what is packed for them, what is set aside and what a customer's own lots serve."""
    pieces, draws, supplies = plan.netting.pieces, plan.netting.draws, plan.netting.shelf
    from_supply = draws.supply >= 0
    owned = np.array([bool(name) for name in supplies.owner], bool)
    shared = from_supply.copy()
    shared[from_supply] = ~owned[draws.supply[from_supply]]
    drawn, quantity = (np.zeros(pieces.size, np.int64) for _ in range(2))
    np.add.at(drawn, draws.piece[shared], draws.quantity[shared])
    counts = shared | (draws.supply == UNCOVERED)
    np.add.at(quantity, draws.piece[counts], draws.quantity[counts])
    earlier = np.zeros(pieces.size, np.int64)
    lead = plan.netting.packing.lead
    found: dict[int, list[AskedPiece]] = defaultdict(list)
    for row in range(pieces.size):
        parent = int(pieces.parent[row])
        if parent >= 0:
            earlier[row] = earlier[parent] + lead[int(pieces.way[row])]
        if quantity[row] and not pieces.wear[row]:
            piece = AskedPiece(int(pieces.job[row]), int(quantity[row]), int(drawn[row]), int(earlier[row]))
            found[int(pieces.item[row])].append(piece)
    return found
