"""What runs out of life: lots past their last day, lots that end before a job that could have used them, use first."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.reading import LotRow, Reading
from bom.structure.cure import after_months
from bom.values import Lot
from kits.catalog.amounts import Amount
from kits.catalog.folding import fold
from kits.planning.queries import reading_of
from kits.planning.words.item_names import ItemName, item_names

MONTHS_AHEAD = 12
MOST_MONTHS = 240
STANDINGS = ("past", "wasted", "used", "later", "bench")


@dataclass(frozen=True, slots=True)
class EndingLot:
    """A row of the shelf with a last day; ``unused`` is what the plan does not take before that day.

    ``standing`` is one of *past*, *bench* (used at the bench, no job asks for it), *wasted* (something is left over
    although a job asks later), *used* (all is taken in time), *later* (something is left over, and no planned job asks
    after that day).
    """

    standing: str
    part_number: str
    what: str
    leads_to: str
    lot: str
    place: str
    quarantined: bool
    owing: bool
    owner: str
    quantity: Amount
    last_use_on: date
    taken: Amount
    unused: Amount
    before_job: str
    before_build_on: date | None


@dataclass(frozen=True, slots=True)
class EndingSheet:
    """Lots that end within some months, the first to end on top."""

    as_of: date
    months: int
    through: date
    standing: str
    counts: Mapping[str, int]
    rows: tuple[EndingLot, ...]


@dataclass(frozen=True, slots=True)
class FirstLot:
    """One lot in the order in which a part's lots are to be used."""

    lot: str
    place: str
    quantity: Amount
    last_use_on: date | None


@dataclass(frozen=True, slots=True)
class UseFirst:
    """A part with more than one lot, or with one that ends soon: the lot to take first, then the others."""

    part_number: str
    what: str
    leads_to: str
    first: FirstLot
    then: tuple[FirstLot, ...]
    ends_soon: bool


def ending_sheet(plan: Plan, *, months: int = MONTHS_AHEAD, standing: str = "") -> EndingSheet:
    """Every lot on the shelf whose last day comes within so many months, of one standing if named; one statement."""
    as_of, months = plan.shop.as_of, min(max(months, 0), MOST_MONTHS)
    through = after_months(as_of, months)
    reading = reading_of(plan)
    ending = list(
        reading.shelf.where(lambda lot: bool(lot.quantity and lot.last_use is not None and lot.last_use <= through))
    )
    names = item_names(row.lot.part_number for row in ending)
    reserved = reserved_pieces(plan)
    rows = [ending_lot(reading, row, reserved, names) for row in ending]
    counts = {word: sum(row.standing == word for row in rows) for word in STANDINGS}
    shown = [row for row in rows if not standing or row.standing == standing]
    shown.sort(key=lambda row: (row.last_use_on, row.part_number, row.lot, row.place))
    return EndingSheet(as_of, months, through, standing, counts, tuple(shown))


def ending_lot(
    reading: Reading,
    row: LotRow,
    reserved: Mapping[tuple[str, str, str], int],
    names: Mapping[str, ItemName],
) -> EndingLot:
    """One lot with what becomes of it."""
    lot, name = row.lot, names[row.lot.part_number]
    assert lot.last_use is not None
    set_aside = min(reserved.get((lot.part_number, lot.lot, lot.place), 0), lot.quantity)
    unused = max(lot.quantity - row.taken - set_aside, 0)
    builds = reading.builds.get(lot.part_number, ())
    after = next(((on, job) for on, job in builds if on > lot.last_use), None)
    if lot.last_use < reading.plan.shop.as_of:
        word = "past"
    elif reading.items[lot.part_number].bench:
        word = "bench"
    elif not unused:
        word = "used"
    else:
        word = "wasted" if after else "later"
    return EndingLot(
        standing=word,
        part_number=lot.part_number,
        what=name.what,
        leads_to=name.leads_to,
        lot=lot.lot,
        place=lot.place,
        quarantined=lot.condition == "quarantine",
        owing=lot.condition == "owing",
        owner=lot.owner,
        quantity=name.amount(lot.quantity),
        last_use_on=lot.last_use,
        taken=name.amount(row.taken + set_aside),
        unused=name.amount(unused),
        before_job=after[1] if after else "",
        before_build_on=after[0] if after else None,
    )


@dataclass(frozen=True, slots=True)
class PartLots:
    """The usable lots of a part of which it matters which one is taken."""

    part_number: str
    lots: tuple[Lot, ...]
    ends_soon: bool


def parts_to_use_first(plan: Plan, *, months: int = MONTHS_AHEAD) -> tuple[PartLots, ...]:
    """The parts of which it matters which lot is taken, by part number; those with one lot that lasts are left out."""
    through = after_months(plan.shop.as_of, months)
    by_part: dict[str, list[Lot]] = defaultdict(list)
    for lot in reading_of(plan).shelf.usable():
        if lot.quantity:
            by_part[lot.part_number].append(lot)
    found = (
        PartLots(part, tuple(lots), any(lot.last_use is not None and lot.last_use <= through for lot in lots))
        for part, lots in sorted(by_part.items())
    )
    return tuple(one for one in found if one.ends_soon or len({(lot.lot, lot.last_use) for lot in one.lots}) > 1)


def use_first(parts: Sequence[PartLots]) -> tuple[UseFirst, ...]:
    """The lots of these parts in the order in which they are to be used; one statement."""
    names = item_names(one.part_number for one in parts)
    return tuple(_use_first(one, names[one.part_number]) for one in parts)


def _use_first(part: PartLots, name: ItemName) -> UseFirst:
    lots = sorted(
        part.lots, key=lambda lot: (lot.last_use or date.max, lot.received or date.max, fold(lot.lot), lot.place)
    )
    first, *then = (FirstLot(lot.lot, lot.place, name.amount(lot.quantity), lot.last_use) for lot in lots)
    return UseFirst(part.part_number, name.what, name.leads_to, first, tuple(then), part.ends_soon)


def reserved_pieces(plan: Plan) -> dict[tuple[str, str, str], int]:
    """What of each row of the shelf is reserved, by part, lot and place; millionths."""
    found: dict[tuple[str, str, str], int] = defaultdict(int)
    for issue in plan.shop.issues:
        if issue.state == "reserved":
            found[issue.part_number, issue.lot, issue.place] += issue.quantity
    return dict(found)
