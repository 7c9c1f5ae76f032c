"""Planned demand of inspected positions: how many pieces cover what may be found worn, pooled over all jobs.

The number found worn in one job is a sum of independent positions and groups; what a kit brings as spares serves its
own job first. ``cover`` is the smallest whole number that is enough with the chance asked for.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from bom.values import ONE
from bom.wear_sums import Events, Sum, cover_events
from bom.wear_table import Chance, Floats, JobWear, WearTable

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


def cover_item(jobs: Sequence[JobWear], how_sure_percent: float, *, countable: bool) -> Cover:
    """Plan the wear of one item over all jobs of the run.

    Examples
    --------
    >>> balls = [JobWear(0, 10, (Chance(0, 1, Fraction(35, 100), 48),))]
    >>> cover_item(balls, 90, countable=True).planned
    (21000000,)
    """
    return cover_items(WearTable.of({0: jobs}), {0: how_sure_percent}, {0: countable})[0]


def cover_items(wear: WearTable, how_sure: Mapping[int, float], countable: Mapping[int, bool]) -> dict[int, Cover]:
    """Plan the wear of many items at once.

    Parameters
    ----------
    wear : what may be found worn
    how_sure : per cent of certainty asked for, by item
    countable : whether the item is counted in pieces, by item
    """
    covers = {item: _measured(wear[item]) for item in wear if not countable[item]}
    counted = np.array([item for item in wear if countable[item]], np.int64)
    if not counted.size:
        return covers
    rows = np.flatnonzero(np.isin(wear.item, counted))
    sums = _after_own_spares(wear, countable)
    served = np.isin(wear.item[rows] * JOB_SPAN + wear.job[rows], [item * JOB_SPAN + job for item, job in wear.spares])
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
    ends = np.searchsorted(found.item, counted, side="right").tolist()
    begin = 0
    for item, end in zip(counted.tolist(), ends, strict=True):
        steps = np.diff(found.cover[begin:end], prepend=0) * ONE
        covers[item] = Cover(
            days=tuple(found.day[begin:end].tolist()),
            planned=tuple(steps.tolist()),
            enough=found.enough[item],
            positions=int(positions[item]) * ONE,
            spares=spares[item] * ONE,
            expected=float(expected[item]),
        )
        begin = end
    return covers


def _after_own_spares(wear: WearTable, countable: Mapping[int, bool]) -> list[Sum]:
    """What jobs ask for beyond the spares that their kits bring, item by item; equal jobs are worked out once."""
    known: dict[tuple[object, ...], Floats] = {}
    sums = []
    for item in sorted({item for item, _ in wear.spares if item in wear and countable[item]}):
        for job in wear[item]:
            if job.spares:
                key = (job.spares, *((chance.weight, chance.likely, chance.count) for chance in job.chances))
                if key not in known:
                    known[key] = _after_spares(job)
                sums.append(Sum(item, job.day, known[key]))
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


def _after_spares(job: JobWear) -> Floats:
    """Chances of 0, 1, 2... pieces that one job asks for beyond its own spares."""
    alone = np.ones(1)
    for chance in job.chances:
        alone = np.convolve(alone, _scaled_binomial(chance.count, chance.likely, chance.weight))
    served = min(job.spares, alone.size - 1)
    return np.concatenate(([alone[: served + 1].sum()], alone[served + 1 :]))


def _scaled_binomial(count: int, p: float, weight: int) -> Floats:
    """Probabilities of 0, 1, 2... pieces when each of ``count`` events asks for ``weight`` pieces with chance ``p``."""
    if p <= 0.0:
        return np.ones(1)
    single = np.ones(1)
    power = np.array([1.0 - p, p])
    while count:
        if count & 1:
            single = np.convolve(single, power)
        count >>= 1
        if count:
            power = np.convolve(power, power)
    if weight == 1:
        return single
    spaced: Floats = np.zeros((single.size - 1) * weight + 1)
    spaced[::weight] = single
    return spaced


def _expected_quantity(jobs: Sequence[JobWear]) -> int:
    """Expected quantity of a measured item on one day, in millionths, rounded half to even."""
    total = Fraction(0)
    for job in jobs:
        expected = sum((chance.weight * chance.count * chance.p for chance in job.chances), Fraction(0))
        total += max(Fraction(0), expected - job.spares)
    return round(total)
