"""The blocking grid: jobs down, the parts that they lack or get late and the overdue orders they lean on across."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from bom.explain import Shortfall
from bom.reading import Asker, Reading
from kits.catalog.amounts import Amount
from kits.planning.words.item_names import ItemName
from kits.planning.words.states import State, job_state, plural
from kits.planning.words.stretches import Stretch, days_of_sheet

Names = Mapping[str, ItemName]


class Obstacle(NamedTuple):
    """What a column is about: a part, or an overdue order, by its number."""

    number: str
    is_order: bool = False


@dataclass(frozen=True, slots=True)
class GridColumn:
    """A column of the grid: a part that some job lacks or gets late, or an overdue ``order`` on which some job leans.

    ``kind`` is what the part is, or which parts are awaited. ``total`` and ``besides`` stand at its foot.
    """

    part_number: str
    order: str
    leads_to: str
    kind: str
    total: Amount | None
    besides: str


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where a job meets a column: how many, and ``besides`` it in small what is not simply missing; ``says`` it all.

    ``on_order`` tells what is on an order from what is on none. It is about a part, or about an overdue ``order``.
    """

    amount: Amount | None
    besides: str
    on_order: bool
    part_number: str
    order: str
    says: str


@dataclass(frozen=True, slots=True)
class GridRow:
    """A row of the grid."""

    job: str
    pump: str
    scope: str
    quantity: int
    build_on: date
    batch: str
    state: State
    stretch: Stretch
    crossings: tuple[Crossing | None, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """Jobs down, the short parts and overdue orders across; ``days`` is the scale of the stretches."""

    columns: tuple[GridColumn, ...]
    jobs: tuple[GridRow, ...]
    days: Stretch | None

    @property
    def parts(self) -> int:
        """How many parts are short or late."""
        return sum(not column.order for column in self.columns)


def short_parts(reading: Reading, shown: Sequence[Asker]) -> tuple[str, ...]:
    """The parts that the shown jobs and other needs lack or get late: those that hold most first."""
    return tuple(held.number for held in held_by(reading, shown) if not held.is_order)


def held_by(reading: Reading, shown: Sequence[Asker]) -> tuple[Obstacle, ...]:
    """What holds the shown jobs, parts and overdue orders alike: what holds most of them first."""
    holds: Counter[Obstacle] = Counter()
    for asker in shown:
        holds.update(Obstacle(part) for part in reading.shortfalls.get(asker, {}))
        holds.update(Obstacle(order, is_order=True) for order in reading.overdue_orders.get(asker, ()))
    return tuple(sorted(holds, key=lambda held: (-holds[held], held)))


def awaited_parts(reading: Reading, shown: Sequence[Asker]) -> set[str]:
    """The parts that the shown jobs await from overdue orders."""
    orders = (parts for asker in shown for parts in reading.awaited.get(asker, {}).values())
    return {part for parts in orders for part in parts}


def job_grid(
    reading: Reading, shown: Sequence[Asker], held: Sequence[Obstacle] = (), names: Names | None = None
) -> Grid:
    """The grid of some jobs against what holds them; without that there are no columns."""
    as_of, names = reading.plan.shop.as_of, names or {}
    days = [day for asker in shown for day in (asker.build_on, asker.parts_on)]
    first_on, last_on = days_of_sheet(as_of, days)
    jobs = tuple(job_row(reading, asker, held, names, first_on, last_on) for asker in shown)
    columns = tuple(column_of(reading, shown, one, names) for one in held)
    return Grid(columns, jobs, Stretch("ready", None, last_on, first_on, last_on) if jobs else None)


def column_of(reading: Reading, shown: Sequence[Asker], held: Obstacle, names: Names) -> GridColumn:
    """The head and foot of one column."""
    if held.is_order:
        awaited = awaited_by(reading, shown, held.number, names)
        (total, *others) = awaited.values()
        return GridColumn("", held.number, "", ", ".join(awaited), None if others else total, "awaited")
    name = names[held.number]
    here = [reading.shortfalls.get(asker, {}).get(held.number, Shortfall()) for asker in shown]
    missing, late = name.amount(sum(one.missing for one in here)), name.amount(sum(one.late for one in here))
    return GridColumn(name.part_number, "", name.leads_to, name.kind, missing or late, late_says(missing, late))


def job_row(
    reading: Reading, asker: Asker, held: Sequence[Obstacle], names: Names, first_on: date, last_on: date
) -> GridRow:
    """One job of the grid."""
    job = asker.job
    assert job is not None, "other needs have no row in the grid"
    state = job_state(reading, asker)
    return GridRow(
        job=job.job,
        pump=job.pump,
        scope=job.scope,
        quantity=job.quantity,
        build_on=job.build_on,
        batch=job.batch,
        state=state,
        stretch=Stretch(state.mark, asker.parts_on, job.build_on, first_on, last_on),
        crossings=tuple(crossing(reading, asker, one, names) for one in held),
    )


def crossing(reading: Reading, asker: Asker, held: Obstacle, names: Names) -> Crossing | None:
    """One crossing, or nothing where the column does not hold the job."""
    job = asker.name
    if held.is_order:
        awaited = awaited_by(reading, (asker,), held.number, names)
        if not awaited:
            return None
        told = ", ".join(f"{amount.text} × {part}" for part, amount in awaited.items())
        whole = f"{job}: {told} awaited from {held.number}, which is overdue"
        if len(awaited) > 1:
            return Crossing(None, f"{plural(len(awaited), 'part')} overdue", True, "", held.number, whole)
        return Crossing(next(iter(awaited.values())), "overdue", True, "", held.number, whole)
    lacking = reading.shortfalls.get(asker, {}).get(held.number)
    if lacking is None:
        return None
    name = names[held.number]
    missing, late = name.amount(lacking.missing), name.amount(lacking.late)
    says = [f"{missing.text} missing"] if missing else []
    says += [f"{late.text} on an order that comes late"] if late else []
    return Crossing(
        amount=missing or late,
        besides=late_says(missing, late),
        on_order=not missing,
        part_number=name.part_number,
        order="",
        says=f"{job}: {', '.join(says)} of {name.part_number}; how it comes about",
    )


def late_says(missing: Amount, late: Amount) -> str:
    """What stands beside the figure of a part: how much of it comes late."""
    if not late:
        return ""
    return f"+ {late.text} late" if missing else "late"


def awaited_by(reading: Reading, askers: Sequence[Asker], order: str, names: Names) -> dict[str, Amount]:
    """What some jobs await from one overdue order, by part."""
    found: Counter[str] = Counter()
    for asker in askers:
        found.update(reading.awaited.get(asker, {}).get(order, {}))
    return {part: names[part].amount(quantity) for part, quantity in sorted(found.items())}
