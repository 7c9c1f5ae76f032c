"""Needed against in hand: two cumulative curves, day by day, and the gap between them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from bom.plan import Plan
from bom.structure.arrays import LAST_DAY, as_date, day_number
from kits.catalog.amounts import Amount
from kits.catalog.day_words import words_for_day
from kits.planning.words.item_names import ItemName

MARGIN_DAYS = 3
LACKS = {"pack": "to pack", "make": "to make", "pack_else_buy": "to pack or buy"}
"""What is not in hand is, by the source of an item; for all others it is missing."""
MISSING = "missing"


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """From this day on: what is needed so far, and what is in hand so far, in millionths."""

    on: date
    needed: int
    in_hand: int


@dataclass(frozen=True, slots=True)
class CurveRow:
    """One day of the curves in numbers: needed, coming, out of life, and what is left or missing after it."""

    on: date
    needed: Amount
    coming: Amount
    lost: Amount
    left: Amount
    missing: Amount


@dataclass(frozen=True, slots=True)
class Curves:
    """Two cumulative curves. ``gap_says`` names the widest gap, ``says`` the whole picture in a sentence."""

    points: tuple[CurvePoint, ...]
    rows: tuple[CurveRow, ...]
    first_on: date
    last_on: date
    unit: str
    lacks: str
    gap_says: str
    says: str

    @property
    def whole(self) -> bool:
        """Whether only whole numbers can be needed."""
        return not self.unit

    def figure(self, millionths: int) -> str:
        """A height of the curves as a number."""
        return Amount(millionths, self.unit).figure


def curves_of(plan: Plan, item: int, name: ItemName) -> Curves:
    """The sure need of one item against what lies on the shelf and what is on order, from today to the last need."""
    needed, coming, lost = needs_by_day(plan, item), orders_by_day(plan, item), lots_that_die(plan, item)
    today = plan.as_of
    on_hand = int(plan.supplies.on_hand[item])
    lacks = LACKS.get(plan.demand.structure.items[item].source, MISSING)
    points, rows, total, held = [], [], 0, on_hand
    for day in sorted({today, *needed, *coming, *lost}):
        total += needed.get(day, 0)
        held += coming.get(day, 0) - lost.get(day, 0)
        points.append(CurvePoint(as_date(day), total, held))
        rows.append(
            CurveRow(
                as_date(day),
                name.amount(needed.get(day, 0)),
                name.amount(coming.get(day, 0)),
                name.amount(lost.get(day, 0)),
                name.amount(max(held - total, 0)),
                name.amount(max(total - held, 0)),
            )
        )
    last_on = words_for_day(points[-1].on, plan.shop.as_of)
    gap = max(points, key=lambda point: point.needed - point.in_hand)
    return Curves(
        points=tuple(points),
        rows=tuple(rows),
        first_on=points[0].on,
        last_on=points[-1].on + timedelta(days=MARGIN_DAYS),
        unit=name.amount(0).unit,
        lacks=lacks,
        gap_says=gap_says(points, gap, name, lacks, plan.shop.as_of),
        says=(
            f"Sure needs of {name.part_number} come to {name.amount(total).text} by {last_on}; the shelf "
            f"and the orders bring {name.amount(held).text}."
        ),
    )


def gap_says(points: list[CurvePoint], gap: CurvePoint, name: ItemName, lacks: str, as_of: date) -> str:
    """What is missing at the widest gap: for good, or until a later order comes."""
    wide = gap.needed - gap.in_hand
    if wide <= 0:
        return ""
    if points[-1].needed > points[-1].in_hand:
        return f"{name.amount(wide).text} {lacks}"
    enough = next(point.on for point in points if point.on > gap.on and point.in_hand >= gap.needed)
    return f"{name.amount(wide).text} {lacks} until {words_for_day(enough, as_of)}"


def needs_by_day(plan: Plan, item: int) -> dict[int, int]:
    """Sure need by need day."""
    pieces = plan.netting.pieces
    found: dict[int, int] = defaultdict(int)
    for piece in np.flatnonzero((pieces.item == item) & ~pieces.wear).tolist():
        found[int(pieces.need_day[piece])] += int(pieces.quantity[piece])
    return dict(found)


def orders_by_day(plan: Plan, item: int) -> dict[int, int]:
    """What open orders bring, by the day they come; overdue ones count as today."""
    found: dict[int, int] = defaultdict(int)
    for day, quantity in orders_of(plan, plan.demand.structure.items[item].part_number):
        found[max(day, plan.as_of)] += quantity
    return dict(found)


def orders_of(plan: Plan, part_number: str) -> Iterator[tuple[int, int]]:
    """Day number and quantity of the open order lines of one part."""
    for line in plan.shop.orders:
        if line.part_number == part_number:
            yield day_number(line.promised), line.quantity


def lots_that_die(plan: Plan, item: int) -> dict[int, int]:
    """What is left unused of lots on the day after their last use; what is too old is not on hand to begin with."""
    supplies = plan.supplies
    found: dict[int, int] = defaultdict(int)
    for supply in range(int(supplies.first[item]), int(supplies.first[item + 1])):
        last, left = int(supplies.last_day[supply]), int(supplies.left[supply])
        if left and plan.netting.first_build[item] <= last < min(LAST_DAY, plan.netting.last_build_day):
            found[last + 1] += left
    return dict(found)
