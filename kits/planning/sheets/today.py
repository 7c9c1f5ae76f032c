"""Today: what needs somebody now, from the next builds to the promises that are broken."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Generic, TypeVar

from bom.answers.rows import chase_rows, expiring_rows
from bom.plan import Plan
from bom.reading import Asker, Reading
from bom.values import OrderLine
from kits.catalog.amounts import Amount
from kits.planning.lists.buy_lists import ToBuy, sure_list
from kits.planning.lists.order_calls import OrderCall, order_call
from kits.planning.queries import reading_of, shared_beside
from kits.planning.sheets.answer import can_be_built
from kits.planning.sheets.jobs.grid import GridRow, job_grid
from kits.planning.sheets.shortages import DyingLot, dying_lot
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.states import NOT_HERE, OPENED_STAGES, plural

BUILDS_AHEAD_DAYS = 10
NEAR_DAYS = 5
FIRST_ROWS = 12
Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class FirstRows(Generic[Row]):
    """The most urgent rows of a list, and how many there are in all."""

    rows: tuple[Row, ...]
    count: int


@dataclass(frozen=True, slots=True)
class NextBuild:
    """A job that is built soon, with the one part that holds it."""

    row: GridRow
    blocking: str
    blocking_leads_to: str


@dataclass(frozen=True, slots=True)
class NextStrip:
    """A pump that is to be opened soon, or should have been; ``here`` once it has come."""

    job: str
    pump: str
    scope: str
    strip_on: date
    past: bool
    here: bool
    to_inspect: int


@dataclass(frozen=True, slots=True)
class Arrival:
    """An order line that is promised for one of the next days."""

    order: str
    line: str
    supplier: str
    part_number: str
    what: str
    leads_to: str
    quantity: Amount
    promised: date


@dataclass(frozen=True, slots=True)
class TodaySheet:
    """Everything that stands on today's sheet."""

    as_of: date
    says: str
    follows: str
    through: date
    builds: tuple[NextBuild, ...]
    strips: FirstRows[NextStrip]
    to_order: FirstRows[ToBuy]
    chase: FirstRows[OrderCall]
    arrivals: FirstRows[Arrival]
    dying: FirstRows[DyingLot]
    nothing_yet: bool


def today_sheet(plan: Plan) -> TodaySheet:
    """Today's sheet, worked out once for each plan."""
    return shared_beside(plan, "today", lambda: draw_today(plan))


def draw_today(plan: Plan) -> TodaySheet:
    """Today's sheet; one statement for the names of everything on it."""
    reading, as_of = reading_of(plan), plan.shop.as_of
    through, near = plan.calendar.forward(as_of, BUILDS_AHEAD_DAYS), plan.calendar.forward(as_of, NEAR_DAYS)
    shown = [asker for asker in reading.jobs.values() if asker.build_on <= through]
    shown.sort(key=lambda asker: (asker.build_on, asker.priority, asker.turn))
    short = [row for row in reading.purchases if row.short and row.askers]
    urgent = sorted(
        (row for row in short if row.order_by is None or row.order_by <= near),
        key=lambda row: (row.order_by is None, row.order_by or as_of, row.part_number),
    )
    chase = sorted(chase_rows(plan), key=lambda row: row["promised"])
    coming = sorted((line for line in plan.shop.orders if as_of <= line.promised <= near), key=lambda one: one.promised)
    dying = sorted(expiring_rows(plan), key=lambda row: row["last_use"])
    first = frozenset(row.part_number for row in urgent[:FIRST_ROWS])
    names = item_names(
        first
        | {row["part_number"] for row in (*chase[:FIRST_ROWS], *dying[:FIRST_ROWS])}
        | {line.part_number for line in coming[:FIRST_ROWS]}
        | {asker.blocking_part for asker in shown if asker.blocking_part}
    )
    grid = job_grid(reading, shown)
    builds = tuple(next_build(asker, row, names) for asker, row in zip(shown, grid.jobs, strict=True))
    strips = tuple(next_strips(reading, near))
    to_order = {row.part_number: row for row in sure_list(reading, reading.askers, names, {}, first).rows}
    return TodaySheet(
        as_of=as_of,
        says=says(reading, shown),
        follows=follows(len(urgent), len(chase), len(short)),
        through=through,
        builds=builds,
        strips=FirstRows(strips[:FIRST_ROWS], len(strips)),
        to_order=FirstRows(tuple(to_order[row.part_number] for row in urgent[:FIRST_ROWS]), len(urgent)),
        chase=FirstRows(tuple(order_call(reading, "chase", row, names) for row in chase[:FIRST_ROWS]), len(chase)),
        arrivals=FirstRows(tuple(arrival(line, names) for line in coming[:FIRST_ROWS]), len(coming)),
        dying=FirstRows(tuple(dying_lot(row, names) for row in dying[:FIRST_ROWS]), len(dying)),
        nothing_yet=not plan.shop.jobs and not plan.shop.catalog.items,
    )


def arrival(line: OrderLine, names: Mapping[str, ItemName]) -> Arrival:
    """One order line that is promised for one of the next days."""
    name = names[line.part_number]
    return Arrival(
        order=line.order,
        line=line.line,
        supplier=line.supplier,
        part_number=line.part_number,
        what=name.what,
        leads_to=name.leads_to,
        quantity=name.amount(line.quantity),
        promised=line.promised,
    )


def says(reading: Reading, shown: list[Asker]) -> str:
    """The sentence that the sheet opens with."""
    if not shown:
        return f"No job is built in the next {BUILDS_AHEAD_DAYS} working days."
    safe = [asker for asker in shown if can_be_built(reading, asker)]
    verb = "is" if len(shown) == 1 else "are"
    return (
        f"{plural(len(shown), 'job')} {verb} built in the next {BUILDS_AHEAD_DAYS} working days; "
        f"{len(safe) or 'none'} of them can be on {'its' if len(safe) == 1 else 'their'} day."
    )


def follows(to_order: int, overdue: int, short: int) -> str:
    """What to do first."""
    said = []
    if overdue:
        said.append(f"{plural(overdue, 'order line')} {'is' if overdue == 1 else 'are'} overdue.")
    if to_order:
        said.append(f"{plural(to_order, 'part')} {'has' if to_order == 1 else 'have'} to be ordered this week.")
    elif short:
        said.append(f"{plural(short, 'part')} {'is' if short == 1 else 'are'} short, none to be ordered this week.")
    return " ".join(said)


def next_build(asker: Asker, row: GridRow, names: dict[str, ItemName]) -> NextBuild:
    """One job that is built soon."""
    if asker.blocking_part is None:
        return NextBuild(row, "", "part")
    name = names[asker.blocking_part]
    return NextBuild(row, name.part_number, name.leads_to)


def next_strips(reading: Reading, near: date) -> Iterator[NextStrip]:
    """Pumps whose strip day is here or past and that are not opened yet, by day."""
    found = [
        (job.strip_on, asker.turn, asker, job)
        for asker in reading.askers
        if (job := asker.job) and job.strip_on and job.strip_on <= near and job.stage not in OPENED_STAGES
    ]
    for strip_on, _, asker, job in sorted(found, key=lambda entry: entry[:2]):
        past = strip_on < reading.plan.shop.as_of
        here = job.stage != NOT_HERE
        yield NextStrip(job.job, job.pump, job.scope, strip_on, past, here, reading.to_inspect.get(asker, 0))
