"""Today: what needs somebody now, from the next builds to the promises that are broken."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from bom.answers.rows import as_json
from bom.plan import Plan
from bom.reading import Asker, Reading
from kits.catalog.amounts import Amount
from kits.planning.lists.buy_lists import BuyList, ToBuy, sure_list
from kits.planning.lists.order_calls import OrderCall, chase_calls
from kits.planning.queries import reading_of
from kits.planning.sheets.batch import DyingLot, dying_lot, numbers_in
from kits.planning.sheets.jobs.grid import JobRow, job_grid
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.plan_words import can_be_built
from kits.planning.words.states import NOT_HERE, OPENED_STAGES, plural

BUILDS_AHEAD_DAYS = 10
NEAR_DAYS = 5


@dataclass(frozen=True, slots=True)
class NextBuild:
    """A job that is built soon, with the one part that holds it."""

    row: JobRow
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
    strips: tuple[NextStrip, ...]
    to_order: tuple[ToBuy, ...]
    chase: tuple[OrderCall, ...]
    arrivals: tuple[Arrival, ...]
    dying: tuple[DyingLot, ...]
    nothing_yet: bool


def today_sheet(plan: Plan) -> TodaySheet:
    """Today's sheet; one statement for the names of everything on it."""
    reading, as_of = reading_of(plan), plan.shop.as_of
    through, near = plan.calendar.forward(as_of, BUILDS_AHEAD_DAYS), plan.calendar.forward(as_of, NEAR_DAYS)
    rows = as_json(plan)
    shown = [asker for asker in reading.jobs.values() if asker.build_on <= through]
    shown.sort(key=lambda asker: (asker.build_on, asker.priority, asker.turn))
    coming = [line for line in plan.shop.orders if as_of <= line.promised <= near]
    names = item_names(
        [*numbers_in(rows, reading), *(line.part_number for line in coming)]
        + [asker.blocking_part for asker in shown if asker.blocking_part]
    )
    grid = job_grid(reading, shown)
    builds = tuple(next_build(asker, row, names) for asker, row in zip(shown, grid.jobs, strict=True))
    sure = sure_list(reading, reading.askers, names, {})
    to_order = tuple(row for row in sure.rows if row.order_by is None or row.order_by <= near)
    chase = chase_calls(reading, names)
    return TodaySheet(
        as_of=as_of,
        says=says(reading, shown),
        follows=follows(to_order, chase, sure),
        through=through,
        builds=builds,
        strips=tuple(next_strips(reading, near)),
        to_order=to_order,
        chase=chase,
        arrivals=tuple(
            Arrival(
                order=line.order,
                line=line.line,
                supplier=line.supplier,
                part_number=line.part_number,
                what=names[line.part_number].what,
                leads_to=names[line.part_number].leads_to,
                quantity=names[line.part_number].amount(line.quantity),
                promised=line.promised,
            )
            for line in coming
        ),
        dying=tuple(dying_lot(row, names) for row in rows["expiring"]),
        nothing_yet=not plan.shop.jobs and not plan.shop.catalog.items,
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


def follows(to_order: tuple[ToBuy, ...], chase: tuple[OrderCall, ...], sure: BuyList) -> str:
    """What to do first."""
    said = []
    if chase:
        said.append(f"{plural(len(chase), 'order line')} {'is' if len(chase) == 1 else 'are'} overdue.")
    if to_order:
        said.append(
            f"{plural(len(to_order), 'part')} {'has' if len(to_order) == 1 else 'have'} to be ordered this week."
        )
    elif sure.rows:
        verb = "is" if len(sure.rows) == 1 else "are"
        said.append(f"{plural(len(sure.rows), 'part')} {verb} short, none to be ordered this week.")
    return " ".join(said)


def next_build(asker: Asker, row: JobRow, names: dict[str, ItemName]) -> NextBuild:
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
