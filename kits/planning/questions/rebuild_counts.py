"""How many pumps today's shelf can rebuild to each scope, what limits it, and from when a job could be built."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from bom.errors import ShopError
from bom.plan import Plan
from bom.questions.feasible import EarliestBuild, earliest_builds
from bom.questions.rebuildable import Limit, Rebuildable, count_rebuildable
from bom.values import ONE
from kits.catalog.days.words import in_full, words_for_day
from kits.planning.queries import kept_beside, reading_of
from kits.planning.questions.kit_uses import SomeParts
from kits.planning.questions.proposals import some
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.states import plural


@dataclass(frozen=True, slots=True)
class Lacking:
    """What one pump more would lack, and of a kit to be packed which of its parts the shelf lacks."""

    part: SomeParts
    inside: tuple[SomeParts, ...]


@dataclass(frozen=True, slots=True)
class RebuildCount:
    """One scope: ``beside`` pumps after all running jobs are served, ``alone`` with the whole shelf to themselves.

    Both are None where the scope needs nothing for sure; ``refused`` says why a scope cannot be counted.
    """

    scope: str
    beside: int | None
    alone: int | None
    limits: tuple[Lacking, ...]
    refused: str


@dataclass(frozen=True, slots=True)
class FirstDay:
    """From when a job could be built."""

    says: str
    dying: tuple[str, ...]


def rebuild_counts(plan: Plan, pump: str) -> tuple[RebuildCount, ...]:
    """The scopes of a pump with how many the shelf can rebuild; one statement."""
    scopes = reading_of(plan).lists.scopes_by_pump.get(pump, ())
    counted = kept_beside(plan, f"rebuild {pump}", lambda: [(scope, count(plan, pump, scope)) for scope in scopes])
    names = item_names(number for _, found in counted if not isinstance(found, str) for number in limiting(found[0]))
    return tuple(count_row(scope, found, names) for scope, found in counted)


def count(plan: Plan, pump: str, scope: str) -> tuple[Rebuildable, Rebuildable] | str:
    """One scope counted beside the running jobs and alone, or why it cannot be counted."""
    try:
        return (
            count_rebuildable(plan, pump, scope),
            count_rebuildable(plan, pump, scope, beside_jobs=False),
        )
    except ShopError as error:
        return error.faults[0].says


def limiting(found: Rebuildable) -> Iterator[str]:
    """The parts whose names are needed."""
    for limit in found.limits:
        yield limit.part_number
        yield from (inside.part_number for inside in limit.inside)


def count_row(scope: str, found: tuple[Rebuildable, Rebuildable] | str, names: dict[str, ItemName]) -> RebuildCount:
    """One scope as it is shown."""
    if isinstance(found, str):
        return RebuildCount(scope, None, None, (), found)
    beside, alone = found
    limits = tuple(
        Lacking(some(names, limit.part_number, limit.short), tuple(parts(limit.inside, names)))
        for limit in beside.limits
    )
    return RebuildCount(scope, beside.pumps, alone.pumps, limits, "")


def parts(limits: Iterable[Limit], names: dict[str, ItemName]) -> Iterator[SomeParts]:
    """What is lacking, as amounts of parts."""
    return (some(names, limit.part_number, limit.short) for limit in limits)


def first_day(plan: Plan, job: str) -> FirstDay | None:
    """From when a job could be built with today's stock and orders; nothing for a job that asks for no parts."""
    found = kept_beside(plan, "earliest builds", lambda: {row.job: row for row in earliest_builds(plan)}).get(job)
    if found is None:
        return None
    dying = tuple(
        f"{row.quantity / ONE:g} of {row.part_number}, lot {row.lot}, only up to {in_full(row.last_use)}"
        for row in found.dying
    )
    return FirstDay(first_day_says(found, plan.shop.as_of), dying)


def first_day_says(found: EarliestBuild, as_of: date) -> str:
    """The day in a sentence."""
    if found.earliest_on is None:
        return "No first day of building can be named: a lead time is not known."
    parts_say = "if what is missing is ordered today" if found.status == "short" else ""
    if found.leans_on_overdue:
        parts_say = f"{parts_say} and its overdue order comes" if parts_say else "if its overdue order comes"
    says = f"Could be built from {words_for_day(found.earliest_on, as_of)} on{' ' + parts_say if parts_say else ''}"
    return f"{says}: {spare_says(found.days_to_spare or 0, found.build_on, as_of)}."


def spare_says(days: int, build_on: date, as_of: date) -> str:
    """How that day lies to the day of building."""
    if days == 0:
        return f"just in time for {words_for_day(build_on, as_of)}"
    when = "to spare before" if days > 0 else "after"
    return f"{plural(abs(days), 'working day')} {when} {words_for_day(build_on, as_of)}"
