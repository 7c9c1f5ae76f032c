"""The rows of today's sheet: the next builds, what is to be opened, ordered, called about, what comes, what dies."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Generic, TypeVar

from bom.plan import Plan
from bom.reading import Asker, PurchaseRow, Reading
from bom.values import Job, OrderLine
from kits.catalog.amounts import Amount
from kits.planning.sheets.jobs.grid import GridRow, job_grid
from kits.planning.words.item_names import ItemName
from kits.planning.words.states import NOT_HERE, OPENED_STAGES
from kits.service.queries import jobs_with_arrival

BUILDS_AHEAD_DAYS = 10
NEAR_DAYS = 5
FIRST_ROWS = 8
Row = TypeVar("Row")
Names = Mapping[str, ItemName]


@dataclass(frozen=True, slots=True)
class FirstRows(Generic[Row]):
    """The most urgent rows of a list, and how many there are in all."""

    rows: tuple[Row, ...] = ()
    count: int = 0

    @classmethod
    def of(cls, rows: Iterable[Row], count: int | None = None, most: int = FIRST_ROWS) -> FirstRows[Row]:
        """The first of some rows; ``count`` where only the first were made."""
        made = tuple(rows)
        return cls(made[:most], len(made) if count is None else count)

    @property
    def more(self) -> bool:
        """Whether there are more than are shown."""
        return self.count > len(self.rows)


@dataclass(frozen=True, slots=True)
class NextBuild:
    """A job that is built soon, with the one part that holds it."""

    row: GridRow
    blocking: str
    blocking_leads_to: str


@dataclass(frozen=True, slots=True)
class NextStrip:
    """A pump that is to be opened soon, or should have been; ``here`` once it has come, ``arrived`` once written."""

    job: str
    pump: str
    scope: str
    strip_on: date
    past: bool
    here: bool
    to_inspect: int
    arrived: bool


@dataclass(frozen=True, slots=True)
class Incoming:
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
class StageRow:
    """A job at some stage, and how many positions of its pump have no verdict yet."""

    job: str
    pump: str
    scope: str
    customer: str
    serial: str
    build_on: date
    to_inspect: int
    stage: str


def builds_through(reading: Reading, through: date) -> list[Asker]:
    """The jobs that are built by a day, in the order in which they are."""
    return by_build(asker for asker in reading.jobs.values() if asker.build_on <= through)


def by_build(askers: Iterable[Asker]) -> list[Asker]:
    """Some jobs in the order in which they are built."""
    return sorted(askers, key=lambda asker: (asker.build_on, asker.priority, asker.turn))


def next_builds(reading: Reading, shown: Sequence[Asker], names: Names) -> tuple[NextBuild, ...]:
    """Some jobs with what holds each."""
    grid = job_grid(reading, shown)
    return tuple(next_build(asker, row, names) for asker, row in zip(shown, grid.jobs, strict=True))


def next_build(asker: Asker, row: GridRow, names: Names) -> NextBuild:
    """One job that is built soon."""
    if asker.blocking_part is None:
        return NextBuild(row, "", "part")
    name = names[asker.blocking_part]
    return NextBuild(row, name.part_number, name.leads_to)


def urgent_purchases(short: Iterable[PurchaseRow], near: date) -> list[PurchaseRow]:
    """What has to be ordered by a day, the most urgent first; what has no day at all comes last."""
    return sorted(
        (row for row in short if row.order_by is None or row.order_by <= near),
        key=lambda row: (row.order_by is None, row.order_by or near, row.part_number),
    )


def coming_orders(plan: Plan, near: date) -> list[OrderLine]:
    """The order lines that are promised for the days to come, by day."""
    lines = (line for line in plan.shop.orders if plan.shop.as_of <= line.promised <= near)
    return sorted(lines, key=lambda line: line.promised)


def arrival(line: OrderLine, names: Names) -> Incoming:
    """One order line that is promised for one of the next days."""
    name = names[line.part_number]
    return Incoming(
        order=line.order,
        line=line.line,
        supplier=line.supplier,
        part_number=line.part_number,
        what=name.what,
        leads_to=name.leads_to,
        quantity=name.amount(line.quantity),
        promised=line.promised,
    )


def next_strips(reading: Reading, near: date) -> Iterator[NextStrip]:
    """Pumps whose strip day is here or past and that are not opened yet, by day; one statement."""
    found = [
        (job.strip_on, asker.turn, asker, job)
        for asker in reading.askers
        if (job := asker.job) and job.strip_on and job.strip_on <= near and job.stage not in OPENED_STAGES
    ]
    arrived = jobs_with_arrival(job.job for *_, job in found)
    for strip_on, _, asker, job in sorted(found, key=lambda entry: entry[:2]):
        past = strip_on < reading.plan.shop.as_of
        here = job.stage != NOT_HERE
        looks = reading.to_inspect.get(asker, 0)
        yield NextStrip(job.job, job.pump, job.scope, strip_on, past, here, looks, job.job in arrived)


def stage_row(job: Job, to_inspect: int = 0) -> StageRow:
    """One job with how far it has come."""
    return StageRow(job.job, job.pump, job.scope, job.customer, job.serial, job.build_on, to_inspect, job.stage)
