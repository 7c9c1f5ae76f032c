"""Planned demand of inspected positions: how many pieces cover what may be found worn, pooled over all jobs.

The number found worn in one job is a sum of independent positions and groups; what a kit brings as spares serves its
own job first. ``cover`` is the smallest whole number that is enough with the chance asked for.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from bom.values import ONE
from bom.wear_table import Chance, Floats, JobWear, WearTable

__all__ = ["Chance", "Cover", "JobWear", "WearTable", "cover_item", "cover_items"]

TOLERANCE = 1e-12
SMALLEST = 1e-300
"""Stands for a factor of nought, whose logarithm has no value."""
ROUNDING_NATS = 37.0
"""exp(-37) is below the rounding of a float near one."""
MOST_CELLS = 1 << 18
"""How many cells of chances are worked out at once."""
DAY_SPAN = 10**7
"""More days than any calendar has: keeps the days of different items apart."""


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
    sums = _pooled(wear)
    with_spares = {item for item, _ in wear.spares}
    sizes: dict[int, list[_Sums]] = defaultdict(list)
    for place, item in enumerate(wear.listed.tolist()):
        if countable[item]:
            one = _sums_of(wear, item, sums, place, item in with_spares)
            sizes[one.size].append(one)
    for size, group in sizes.items():
        for part in _parts(group, MOST_CELLS // size):
            for one, enough in zip(part, _enough_by_day(wear, part, size), strict=True):
                covers[one.item] = one.cover(enough, how_sure[one.item])
    return covers


def _parts(group: Sequence[_Sums], rows: int) -> Iterator[list[_Sums]]:
    """The items in parts of about ``rows`` days, so that a part stays near the processor."""
    part: list[_Sums] = []
    days = 0
    for sums in group:
        if part and days + len(sums.days) > rows:
            yield part
            part, days = [], 0
        part.append(sums)
        days += len(sums.days)
    if part:
        yield part


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


def _beyond_doubt(mean: float, spread: float, heaviest: int) -> int:
    """A number that a sum of independent events exceeds with a chance below rounding (Bernstein's inequality)."""
    step = ROUNDING_NATS * 2 * heaviest / 3
    return math.ceil(mean + (step + math.sqrt(step * step + 8 * ROUNDING_NATS * spread)) / 2)


@dataclass(frozen=True, slots=True)
class _Pooled:
    """By item: pieces looked at, expected pieces, variance, heaviest event."""

    pieces: list[int]
    mean: list[float]
    spread: list[float]
    heaviest: list[int]


def _pooled(wear: WearTable) -> _Pooled:
    if not wear.item.size:
        return _Pooled([], [], [], [])
    start = np.searchsorted(wear.item, wear.listed)
    pieces = wear.weight * wear.count
    likely = wear.likely[wear.kind]
    return _Pooled(
        np.add.reduceat(pieces, start).tolist(),
        np.add.reduceat(pieces * likely, start).tolist(),
        np.add.reduceat(pieces * wear.weight * likely * (1 - likely), start).tolist(),
        np.maximum.reduceat(wear.weight, start).tolist(),
    )


@dataclass(frozen=True, slots=True)
class _Sums:
    """The sums of one item by day: its pooled rows, and the jobs that have spares of their own."""

    item: int
    days: tuple[int, ...]
    rows: NDArray[np.int64]
    alone: tuple[tuple[int, Floats], ...]
    size: int
    positions: int
    spares: int
    expected: float

    def cover(self, enough: Floats, how_sure_percent: float) -> Cover:
        """The plan that follows from the cumulative chances by day."""
        reached = enough >= how_sure_percent / 100 - TOLERANCE
        needed = np.where(reached.any(axis=1), np.argmax(reached, axis=1), enough.shape[1] - 1)
        steps = np.diff(np.maximum.accumulate(needed), prepend=0) * ONE
        return Cover(
            self.days, tuple(steps.tolist()), enough[-1].copy(), self.positions * ONE, self.spares * ONE, self.expected
        )


def _sums_of(wear: WearTable, item: int, pooled: _Pooled, place: int, has_spares: bool) -> _Sums:
    rows = wear.rows_of(item)
    day = wear.day[rows]
    days = tuple(day[np.flatnonzero(np.diff(day, prepend=day[0] - 1))].tolist())
    most, mean, spread = pooled.pieces[place], pooled.mean[place], pooled.spread[place]
    numbers = np.arange(rows.start, rows.stop)
    size = 1 << min(most, _beyond_doubt(mean, spread, pooled.heaviest[place])).bit_length()
    if not has_spares:
        return _Sums(item, days, numbers, (), size, most, 0, mean)
    jobs = [job for job in wear[item] if job.spares]
    alone = tuple((days.index(job.day), _after_spares(job)[:size]) for job in jobs)
    numbers = numbers[~np.isin(wear.job[rows], [job.job for job in jobs])]
    return _Sums(item, days, numbers, alone, size, most, sum(job.spares for job in jobs), mean)


def _enough_by_day(wear: WearTable, group: Sequence[_Sums], size: int) -> list[Floats]:
    """Chances that 0, 1, 2... pieces are enough up to and with each day, for each item shape (days, size).

    Independent sums multiply as Fourier transforms, and their logarithms add: one transform for all items and days
    whose sums have at most ``size`` values.
    """
    first = np.cumsum([0, *(len(sums.days) for sums in group)])
    rows = np.concatenate([sums.rows for sums in group])
    place = np.repeat(np.arange(len(group)), [sums.rows.size for sums in group])
    days = np.concatenate([np.array(sums.days, np.int64) for sums in group])
    base = np.repeat(np.arange(len(group)), np.diff(first)) * DAY_SPAN + days
    row = np.searchsorted(base, place * DAY_SPAN + wear.day[rows])
    key = wear.weight[rows] * wear.likely.size + wear.kind[rows]
    kinds, kind = np.unique(key, return_inverse=True)
    weight, likely = kinds // max(wear.likely.size, 1), wear.likely[kinds % max(wear.likely.size, 1)][:, None]
    turn = np.exp(-2j * np.pi / size * np.outer(weight, np.arange(size // 2 + 1)))
    factor = 1 - likely + likely * turn
    logs = np.log(np.where(factor == 0, SMALLEST, factor))
    summed = np.zeros((int(first[-1]), size // 2 + 1), complex)
    start = np.flatnonzero(np.diff(row, prepend=-1))
    if start.size:
        summed[row[start]] = np.add.reduceat(logs[kind] * wear.count[rows][:, None], start, axis=0)
    day_of = np.arange(first[-1]) - np.repeat(first[:-1], np.diff(first))
    order = np.argsort(day_of, kind="stable")
    ends = np.searchsorted(day_of[order], np.arange(int(day_of.max(initial=0)) + 2))
    for day in range(1, ends.size - 1):
        here = order[ends[day] : ends[day + 1]]
        summed[here] += summed[here - 1]
    transform = np.exp(summed)
    for n, sums in enumerate(group):
        for day, alone in sums.alone:
            transform[first[n] + day : first[n + 1]] *= np.fft.rfft(alone, size)
    enough = np.clip(np.cumsum(np.fft.irfft(transform, size, axis=1), axis=1), 0.0, 1.0)
    return [enough[first[n] : first[n + 1]] for n in range(len(group))]


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
