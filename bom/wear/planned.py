"""Planned demand of inspected positions: how many pieces cover what may be found worn, pooled over all jobs.

The number found worn in one job is a sum of independent positions and groups; what a kit brings as spares serves its
own job first. ``cover`` is the smallest whole number that is enough with the chance asked for.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import reduce
from typing import NamedTuple

import numpy as np

from bom.demand.chances import Chance, JobWear, WearTable
from bom.structure.tables import Floats, Ints, as_shared, freeze, runs
from bom.values import ONE
from bom.wear.sums import Events, Sum, binomials, convolved, cover_events, distinct_rows

__all__ = ["Chance", "Cover", "JobWear", "WearTable", "cover_item", "cover_items"]

JOB_SPAN = 10**9
"""More jobs than any plan has: keeps the jobs of different items apart."""


@dataclass(frozen=True, slots=True)
class Cover:
    """Planned wear of one item by build day, and the distribution behind it (empty for measured items).

    ``days`` and ``planned`` run together: on each day the planned demand in millionths (never below zero).
    ``enough[q]`` is the chance that ``q`` pieces are enough for all jobs. ``positions`` in millionths, ``expected``
    in stock units.
    """

    days: tuple[int, ...]
    planned: tuple[int, ...]
    enough: Floats
    positions: int
    spares: int
    expected: float

    def __post_init__(self) -> None:
        freeze(self)


class WearCovered(NamedTuple):
    """What may be found worn, and what covers it."""

    wear: WearTable
    covers: Mapping[int, Cover]


def cover_item(jobs: Sequence[JobWear], how_sure_percent: float, *, countable: bool) -> Cover:
    """Plan the wear of one item over all jobs of the run.

    Parameters
    ----------
    jobs : what may be found worn in each job
    how_sure_percent : how sure the cover has to be
    countable : whether the item is counted in pieces

    Examples
    --------
    >>> balls = [JobWear(0, 10, (Chance(0, 1, Fraction(35, 100), 48),))]
    >>> cover_item(balls, 90, countable=True).planned
    (21000000,)
    """
    return cover_items(WearTable.of({0: jobs}), {0: how_sure_percent}, {0: countable})[0]


def cover_items(
    wear: WearTable,
    how_sure: Mapping[int, float],
    countable: Mapping[int, bool],
    before: WearCovered | None = None,
) -> dict[int, Cover]:
    """Plan the wear of many items at once.

    Parameters
    ----------
    wear : what may be found worn
    how_sure : per cent of certainty asked for, by item
    countable : whether the item is counted in pieces, by item
    before : what might be found worn before, and its covers, certainties being those of now; what has not changed stays
    """
    kept = {item: before.covers[item] for item in wear.same_as(before.wear)} if before else {}
    measured = {item: kept.get(item) or _measured(wear[item]) for item in wear if not countable[item]}
    counted = _counted(wear, how_sure, [item for item in wear if countable[item] and item not in kept])
    return measured | {item: kept.get(item) or counted[item] for item in wear if countable[item]}


def _counted(wear: WearTable, how_sure: Mapping[int, float], items: Sequence[int]) -> dict[int, Cover]:
    """Plan the wear of items that are counted in pieces."""
    covers: dict[int, Cover] = {}
    counted = np.array(items, np.int64)
    if not counted.size:
        return covers
    by_pieces = np.zeros(int(wear.item.max()) + 1, bool)
    by_pieces[counted] = True
    rows = np.flatnonzero(by_pieces[wear.item])
    with_spares = [item * JOB_SPAN + job for (item, job), quantity in wear.spares.items() if quantity]
    served = np.isin(wear.item[rows] * JOB_SPAN + wear.job[rows], np.array(with_spares, np.int64))
    sums = _after_own_spares(wear, rows[served])
    likely = wear.likely[wear.kind[rows]]
    events = Events(wear.item[rows], wear.day[rows], wear.weight[rows], np.where(served, 0.0, likely), wear.count[rows])
    sure = np.zeros(int(counted.max()) + 1)
    sure[counted] = [how_sure[item] / 100 for item in counted.tolist()]
    found = cover_events(events, sums, sure)
    pieces = events.weight * events.count
    positions = np.bincount(events.item, pieces, sure.size)
    expected = np.bincount(events.item, pieces * likely, sure.size)
    spares: dict[int, int] = defaultdict(int)
    for (item, _), quantity in wear.spares.items():
        spares[item] += quantity
    first = np.diff(found.item, prepend=-1) != 0
    planned = np.where(first, found.cover, np.diff(found.cover, prepend=0)) * ONE
    days, steps = as_shared(found.day), as_shared(planned)
    ends = np.searchsorted(found.item, counted, side="right").tolist()
    begin = 0
    for item, end in zip(counted.tolist(), ends, strict=True):
        covers[item] = Cover(
            days=tuple(days[begin:end]),
            planned=tuple(steps[begin:end]),
            enough=found.enough[item],
            positions=int(positions[item]) * ONE,
            spares=spares[item] * ONE,
            expected=float(expected[item]),
        )
        begin = end
    return covers


def _after_own_spares(wear: WearTable, rows: Ints) -> list[Sum]:
    """What jobs ask for beyond the spares that their kits bring; equal jobs are worked out once.

    ``rows`` of the table, in its order, are those of items and jobs with spares.
    """
    weight, kind, count = wear.weight[rows], wear.kind[rows], wear.count[rows]
    first, alike = distinct_rows(weight, kind, count)
    known = binomials(weight[first], wear.likely[kind[first]], count[first])
    found: dict[tuple[int, ...], Floats] = {}
    sums = []
    for begin, end in runs(wear.item[rows], wear.job[rows]):
        row = rows[begin]
        item, day = int(wear.item[row]), int(wear.day[row])
        spares = wear.spares[item, int(wear.job[row])]
        key = (spares, *alike[begin:end].tolist())
        if key not in found:
            found[key] = _beyond(spares, _all_of([known[event] for event in key[1:]]))
        sums.append(Sum(item, day, found[key]))
    return sums


def _measured(jobs: Sequence[JobWear]) -> Cover:
    """A measured item is planned by what is expected."""
    by_day: dict[int, list[JobWear]] = defaultdict(list)
    for job in jobs:
        by_day[job.day].append(job)
    days = tuple(sorted(by_day))
    positions = sum(chance.weight * chance.count for job in jobs for chance in job.chances)
    expected = sum((chance.weight * chance.count * chance.p for job in jobs for chance in job.chances), Fraction(0))
    planned = tuple(_expected_quantity(by_day[day]) for day in days)
    return Cover(days, planned, np.zeros(0), positions, sum(job.spares for job in jobs), float(expected / ONE))


def after_spares(spares: int, events: Sequence[tuple[int, float, int]]) -> Floats:
    """Chances of 0, 1, 2... pieces that one job asks for beyond its own spares; events are count, chance, weight.

    Parameters
    ----------
    spares : pieces that the job's kits bring
    events : count, chance and weight of each kind
    """
    count, likely, weight = zip(*events, strict=True)
    return _beyond(spares, _all_of(binomials(np.array(weight), np.array(likely), np.array(count))))


def _all_of(parts: Sequence[Floats]) -> Floats:
    """Chances of the sum of independent counts."""
    return reduce(lambda one, other: convolved(one, other[::-1]), parts)


def _beyond(spares: int, chances: Floats) -> Floats:
    """What is asked beyond the spares."""
    return np.concatenate(([chances[: spares + 1].sum()], chances[spares + 1 :]))


def _expected_quantity(jobs: Sequence[JobWear]) -> int:
    """Expected quantity of a measured item on one day, in millionths, rounded half to even."""
    total = Fraction(0)
    for job in jobs:
        expected = sum((chance.weight * chance.count * chance.p for chance in job.chances), Fraction(0))
        total += max(Fraction(0), expected - job.spares)
    return round(total)
