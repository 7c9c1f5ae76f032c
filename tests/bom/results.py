"""A finished plan written out piece by piece, for tests that look at the result alone.

It shares with the engine the values and the draws themselves; what stands in a kit or an assembly, which day is a
working day and which lot may be used come from the slow oracle.
"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from functools import cache, cached_property

from bom.answers.rows import as_json
from bom.plan import Plan, plan
from bom.structure.arrays import as_date
from bom.supply.matching import NOBODY, OWN, PACKED, UNCOVERED
from bom.values import ONE
from tests.oracle.calendar import Calendar
from tests.oracle.explosion import Conditions, conditions_of
from tests.oracle.matching import LATEST_FOR_WEAR, lasts, packet_allows, reason_left_out
from tests.oracle.structure import Structure, fold
from tests.shops import random_shop

FAR = date(9999, 1, 1)
READY, WAITING, LATE, SHORT = "ready", "waiting", "late", "short"
ORDER = (READY, WAITING, LATE, SHORT)


@dataclass(frozen=True)
class Piece:
    """One piece as it stands in the plan; ``lots``, ``orders`` are (place in the shop's list, millionths)."""

    number: int
    part_number: str
    asker: object
    quantity: int
    need: date
    build: date
    way: str
    parent: int
    wear: bool
    lots: tuple
    orders: tuple
    own: int
    packed: int
    uncovered: int

    @property
    def name(self) -> str:
        return self.asker.name if self.asker else ""

    @property
    def customer(self) -> str:
        if self.asker is None:
            return ""
        return fold(self.asker.job.customer if self.asker.job else self.asker.need.for_whom)


class Result:
    """A plan and its rows, with the pieces written out."""

    def __init__(self, plan: Plan, answer: dict | None = None):
        self.plan, self.shop = plan, plan.shop
        self.answer = as_json(plan) if answer is None else answer
        self.calendar = Calendar(plan.shop.workdays, plan.shop.holidays)
        self.items = {item.part_number: item for item in plan.shop.catalog.items}

    @cached_property
    def structure(self) -> Structure:
        return Structure(self.shop.catalog)

    @cached_property
    def pieces(self) -> list[Piece]:
        pieces, draws, supplies = self.plan.netting.pieces, self.plan.netting.draws, self.plan.supplies
        taken = defaultdict(lambda: defaultdict(list))
        for number, supply, quantity in zip(
            draws.piece.tolist(), draws.supply.tolist(), draws.quantity.tolist(), strict=True
        ):
            taken[number][supply].append(quantity)
        return [self.piece(pieces, supplies, number, taken[number]) for number in range(pieces.size)]

    def piece(self, pieces, supplies, number: int, taken: dict) -> Piece:
        drawn = [(supply, sum(quantities)) for supply, quantities in taken.items() if supply >= 0]
        lots, orders = supplies.lot_place.tolist(), supplies.order_place.tolist()
        job, way = int(pieces.job[number]), int(pieces.way[number])
        names = self.plan.demand.structure.items
        return Piece(
            number,
            names[int(pieces.item[number])].part_number,
            None if job == NOBODY else self.plan.demand.askers[job],
            int(pieces.quantity[number]),
            as_date(int(pieces.need_day[number])),
            as_date(int(pieces.build_day[number])),
            "" if way < 0 else names[way].part_number,
            int(pieces.parent[number]),
            bool(pieces.wear[number]),
            tuple((lots[supply], quantity) for supply, quantity in drawn if lots[supply] >= 0),
            tuple((orders[supply], quantity) for supply, quantity in drawn if orders[supply] >= 0),
            sum(taken.get(OWN, ())),
            sum(taken.get(PACKED, ())),
            sum(taken.get(UNCOVERED, ())),
        )  # fmt: skip

    @cached_property
    def inside(self) -> dict[int, list[Piece]]:
        found = defaultdict(list)
        for piece in self.pieces:
            if piece.parent >= 0:
                found[piece.parent].append(piece)
        return found

    def of_item(self, part_number: str, wear: bool) -> list[Piece]:
        return [piece for piece in self.pieces if piece.part_number == part_number and piece.wear == wear]

    def conditions(self, piece: Piece) -> Conditions:
        if piece.asker is None or piece.asker.job is None:
            return Conditions(None, piece.build)
        return conditions_of(self.structure, piece.asker.job)

    def reason(self, lot) -> str | None:
        return reason_left_out(lot, self.items[lot.part_number], self.shop.as_of)

    def promised(self, place: int) -> date:
        return max(self.shop.orders[place].promised, self.shop.as_of)

    @property
    def first_day(self) -> date:
        return self.calendar.forward(self.shop.as_of, 0)

    def lead(self, part_number: str) -> int | None:
        """Working days until a purchase of today would be here, by the row of the purchase list."""
        row = next(row for row in self.answer["buy"] if row["part_number"] == part_number)
        return row["earliest_arrival"] and date.fromisoformat(row["earliest_arrival"])


def millionths(stock_units) -> int:
    return round(stock_units * ONE)


def may_take(found: Result, piece: Piece, row) -> bool:
    if not hasattr(row, "lot"):
        comes = max(row.promised, found.shop.as_of)
        return not piece.wear or comes <= found.calendar.forward(piece.need, LATEST_FOR_WEAR)
    owner = fold(row.owner)
    ours = not owner or (owner == piece.customer and not piece.wear)
    return lasts(row.last_use, piece.build) and ours and packet_serves(found, piece, row)


def fills_a_kit(found: Result, piece: Piece) -> bool:
    """Whether it is what a kit from the shelf is without, and not what packing asks for."""
    return bool(piece.way) and (piece.parent < 0 or found.pieces[piece.parent].part_number != piece.way)


def packet_serves(found: Result, piece: Piece, lot) -> bool:
    """Clean work takes sealed packets: what is of a clean class, and what goes into a clean kit."""
    clean_kit = bool(piece.way) and found.items[piece.way].cleanliness != "normal"
    return packet_allows(lot, found.items[lot.part_number], clean_kit)


def serving_order(piece: Piece) -> tuple:
    if piece.asker is None:
        return (True, piece.need, 0, piece.build, "", piece.way)
    return (False, piece.need, piece.asker.priority, piece.build, piece.name, piece.way)


def days_of(found: Result, piece: Piece) -> list[date]:
    return [found.promised(place) for place, _ in piece.orders]


def state_of(found: Result, piece: Piece) -> str:
    if piece.uncovered:
        return SHORT
    states = [LATE if day > piece.need else WAITING for day in days_of(found, piece)]
    if piece.packed:
        if any(state_of(found, inside) == SHORT for inside in found.inside[piece.number]):
            return SHORT
        states.append(LATE if arrival_of(found, piece) > piece.need else WAITING)
    return max(states, key=ORDER.index, default=READY)


def arrival_of(found: Result, piece: Piece) -> date:
    days = [found.shop.as_of, *days_of(found, piece)]
    if piece.uncovered:
        days.append(found.lead(piece.part_number) or FAR)
    if piece.packed:
        last = max((arrival_of(found, inside) for inside in found.inside[piece.number]), default=found.shop.as_of)
        packing = found.items[piece.part_number].lead_days or 0
        days.append(FAR if last == FAR else found.calendar.forward(max(last, found.shop.as_of), packing))
    return max(days)


@cache
def plan_of(seed: int, size: str = "small") -> Plan:
    """The plan of a random shop, worked out once for all tests that look at it."""
    return plan(random_shop(seed, size))


@cache
def result_of(seed: int) -> Result:
    """The same plan with its pieces written out."""
    return Result(plan_of(seed))
