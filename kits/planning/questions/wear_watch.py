"""What to watch of wear on one sheet: the lines least likely to be covered, and the pumps to open first."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from bom.questions.wear_outlook import OpenFirst, WearItem, WearOutlook
from kits.catalog.amounts import Amount
from kits.catalog.formats.in_force import formats
from kits.planning.lists.buy_lists import money, percent
from kits.planning.words.item_names import ItemName
from kits.planning.words.states import NOT_HERE, plural

MOST_TO_OPEN = 5
SMALLEST_SHOWN = 0.00005
NOTHING_ADDED = 0.00005


@dataclass(frozen=True, slots=True)
class WeakLine:
    """A part for which the shelf is hardly enough: what is left there for wear, and what one more would do."""

    part_number: str
    what: str
    leads_to: str
    left: Amount
    sure_lacks: Amount
    chance: str
    with_one_more: str
    adds: str
    price_of_one: Decimal | None
    covered: bool


@dataclass(frozen=True, slots=True)
class OpenNext:
    """A pump that nobody has opened, and what opening it decides: ``wear_cost`` is expected, not certain."""

    job: str
    here: bool
    strip_on: date | None
    build_on: date
    positions: int
    parts: int
    wear_cost: Decimal
    unpriced: int
    most_urgent: str
    order_by: date | None
    past: bool


@dataclass(frozen=True, slots=True)
class WearWatch:
    """The weakest lines, the pumps to open first, and how to read the figures."""

    weakest: tuple[WeakLine, ...]
    says: str
    first: tuple[OpenNext, ...]
    more: int
    floor: str


def wear_watch(outlook: WearOutlook, names: Mapping[str, ItemName], as_of: date) -> WearWatch:
    """The outlook as it is shown."""
    first = tuple(open_next(row, as_of) for row in outlook.open_first[:MOST_TO_OPEN])
    return WearWatch(
        weakest=tuple(weak_line(row, names[row.part_number]) for row in outlook.weakest),
        says=open_first_says(first),
        first=first,
        more=max(0, len(outlook.open_first) - MOST_TO_OPEN),
        floor=outlook.floor,
    )


def weakest_numbers(outlook: WearOutlook) -> Iterator[str]:
    """The parts whose names are needed."""
    return (row.part_number for row in outlook.weakest)


def weak_line(row: WearItem, name: ItemName) -> WeakLine:
    """One weak line."""
    added = row.added_by_one_more or 0.0
    return WeakLine(
        part_number=name.part_number,
        what=name.what,
        leads_to=name.leads_to,
        left=name.amount(row.free),
        sure_lacks=name.amount(row.sure_lacks),
        chance=small_percent(row.chance),
        with_one_more=small_percent(row.chance_with_one_more),
        adds=f"{points(added)}" if added > NOTHING_ADDED else "nothing by itself",
        price_of_one=money(row.price_of_one),
        covered=row.is_covered,
    )


def points(added: float) -> str:
    """How much a chance rises, in points of a hundred."""
    return formats().number(f"{added * 100:.1f} points") if added < 0.1 else f"{added * 100:.0f} points"


def small_percent(chance: float | None) -> str:
    """A chance in per cent that tells small ones apart, because the weakest lines are all small."""
    if chance is None or chance >= 0.01:
        return percent(chance)
    if chance == 0:
        return "0 %"
    return formats().number("< 0.01 %" if chance < SMALLEST_SHOWN else f"{chance * 100:.2f} %")


def open_next(row: OpenFirst, as_of: date) -> OpenNext:
    """One pump to open."""
    return OpenNext(
        job=row.job,
        here=row.stage != NOT_HERE,
        strip_on=row.strip_on,
        build_on=row.build_on,
        positions=row.positions,
        parts=len(row.parts),
        wear_cost=money(row.wear_cost) or Decimal("0.00"),
        unpriced=row.unpriced,
        most_urgent=row.most_urgent or "",
        order_by=row.order_by,
        past=row.order_by is not None and row.order_by < as_of,
    )


def open_first_says(first: tuple[OpenNext, ...]) -> str:
    """Which pump to open first, and why."""
    if not first:
        return ""
    best = first[0]
    parts = plural(best.parts, "part")
    return f"{best.job} decides most: {plural(best.positions, 'position')}, {parts} whose wear nothing covers."
