"""The blocking grid: jobs down, the parts that they lack or get late across."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from bom.explain import Shortfall
from kits.catalog.amounts import Amount
from kits.planning.lists.plan_reading import PlanReading, day_of
from kits.planning.words.item_names import ItemName
from kits.planning.words.states import State, state_of_job
from kits.planning.words.stretches import Stretch, days_of_sheet


@dataclass(frozen=True, slots=True)
class ShortPart:
    """A column of the grid: a part that some job of the sheet lacks (``missing``) or gets late."""

    part_number: str
    leads_to: str
    kind: str
    missing: Amount
    late: Amount


@dataclass(frozen=True, slots=True)
class Crossing:
    """How many of one part one job lacks (``missing``, on no order) or gets after its day (``late``, on an order)."""

    part_number: str
    missing: Amount
    late: Amount
    says: str


@dataclass(frozen=True, slots=True)
class JobRow:
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
    """Jobs down, the short parts across; ``days`` is the scale of the stretches."""

    parts: tuple[ShortPart, ...]
    jobs: tuple[JobRow, ...]
    days: Stretch | None


def short_items(reading: PlanReading, shown: Sequence[int]) -> tuple[int, ...]:
    """The items that the shown jobs lack or get late: those that hold most jobs first."""
    holds: dict[int, int] = {}
    for asker in shown:
        for item in reading.shortfalls.get(asker, {}):
            holds[item] = holds.get(item, 0) + 1
    return tuple(sorted(holds, key=lambda item: (-holds[item], reading.part_number(item))))


def job_grid(reading: PlanReading, shown: Sequence[int], items: Sequence[int], names: Mapping[str, ItemName]) -> Grid:
    """The grid of some jobs against some items."""
    as_of = reading.plan.shop.as_of
    days = [day for n in shown for day in (day_of(reading.askers[n].build_day), day_of(reading.answers[n].parts_on))]
    first_on, last_on = days_of_sheet(as_of, days)
    jobs = tuple(job_row(reading, asker, items, names, first_on, last_on) for asker in shown)
    parts = tuple(short_part(reading, shown, item, names) for item in items)
    return Grid(parts, jobs, Stretch("ready", None, last_on, first_on, last_on) if jobs else None)


def short_part(reading: PlanReading, shown: Sequence[int], item: int, names: Mapping[str, ItemName]) -> ShortPart:
    """The head and foot of one column."""
    name = names[reading.part_number(item)]
    here = [reading.shortfalls.get(asker, {}).get(item, Shortfall()) for asker in shown]
    missing, late = sum(one.missing for one in here), sum(one.late for one in here)
    return ShortPart(name.part_number, name.leads_to, name.kind, name.amount(missing), name.amount(late))


def job_row(
    reading: PlanReading,
    asker: int,
    items: Sequence[int],
    names: Mapping[str, ItemName],
    first_on: date,
    last_on: date,
) -> JobRow:
    """One job of the grid."""
    job = reading.askers[asker].job
    assert job is not None, "other needs have no row in the grid"
    lacking = reading.shortfalls.get(asker, {})
    state = job_state(reading, asker)
    return JobRow(
        job=job.job,
        pump=job.pump,
        scope=job.scope,
        quantity=job.quantity,
        build_on=job.build_on,
        batch=job.batch,
        state=state,
        stretch=Stretch(state.mark, day_of(reading.answers[asker].parts_on), job.build_on, first_on, last_on),
        crossings=tuple(crossing(names[reading.part_number(item)], lacking.get(item), job.job) for item in items),
    )


def crossing(name: ItemName, lacking: Shortfall | None, job: str) -> Crossing | None:
    """One crossing, or nothing where the job does not lack the part."""
    if lacking is None:
        return None
    missing, late = name.amount(lacking.missing), name.amount(lacking.late)
    says = [f"{missing.text} missing"] if missing else []
    says += [f"{late.text} on an order that comes late"] if late else []
    return Crossing(
        name.part_number, missing, late, f"{job}: {', '.join(says)} of {name.part_number}; how it comes about"
    )


def job_state(reading: PlanReading, asker: int) -> State:
    """The state of one job in words."""
    job, answer = reading.askers[asker].job, reading.answers[asker]
    return state_of_job(
        status=answer.status,
        stage=job.stage if job else "",
        to_inspect=reading.to_inspect.get(asker, 0),
        parts_on=day_of(answer.parts_on),
        days_late=answer.days_late,
        order_by=day_of(answer.order_by),
        as_of=reading.plan.shop.as_of,
        orders_overdue=reading.overdue_orders.get(asker, ()),
    )
