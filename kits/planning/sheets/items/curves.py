"""Needed against in hand: two cumulative curves, day by day, and the gap between them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta

from bom.plan import Plan
from bom.reading import Reading
from kits.catalog.amounts import Amount
from kits.catalog.days.words import words_for_day
from kits.planning.questions.week_table import LACKS, MISSING
from kits.planning.words.item_names import ItemName

MARGIN_DAYS = 3


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


def curves_of(reading: Reading, name: ItemName) -> Curves:
    """The sure need of one item against what lies on the shelf and what is on order, from today to the last need."""
    part, as_of = name.part_number, reading.plan.shop.as_of
    needed, coming, lost = reading.needs_by_day(part), orders_by_day(reading.plan, part), reading.dying_by_day(part)
    lacks = LACKS.get(reading.items[part].source, MISSING)
    points, rows, total, held = [], [], 0, reading.stock_of(part).on_hand
    for day in sorted({as_of, *needed, *coming, *lost}):
        total += needed.get(day, 0)
        held += coming.get(day, 0) - lost.get(day, 0)
        points.append(CurvePoint(day, total, held))
        rows.append(
            CurveRow(
                day,
                name.amount(needed.get(day, 0)),
                name.amount(coming.get(day, 0)),
                name.amount(lost.get(day, 0)),
                name.amount(max(held - total, 0)),
                name.amount(max(total - held, 0)),
            )
        )
    last_on = words_for_day(points[-1].on, as_of)
    gap = max(points, key=lambda point: point.needed - point.in_hand)
    return Curves(
        points=tuple(points),
        rows=tuple(rows),
        first_on=points[0].on,
        last_on=points[-1].on + timedelta(days=MARGIN_DAYS),
        unit=name.amount(0).unit,
        lacks=lacks,
        gap_says=gap_says(points, gap, name, lacks, as_of),
        says=(
            f"Sure needs of {part} come to {name.amount(total).text} by {last_on}; the shelf "
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


def orders_by_day(plan: Plan, part_number: str) -> dict[date, int]:
    """What the open orders of one part bring, by the day they come; overdue ones count as today."""
    found: dict[date, int] = defaultdict(int)
    for line in plan.shop.orders:
        if line.part_number == part_number:
            found[max(line.promised, plan.shop.as_of)] += line.quantity
    return dict(found)
