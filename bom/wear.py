"""Planned demand of inspected positions: how many pieces cover what may be found worn, pooled over all jobs.

The number found worn in one job is a sum of independent positions and groups; what a kit brings as spares serves its
own job first. ``cover`` is the smallest whole number that is enough with the chance asked for.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from bom.explosion import Explosion
from bom.positions import Position
from bom.strip_report import LearnedRates
from bom.structure import Structure, fold
from bom.values import ONE

TOLERANCE = 1e-12
SMALLEST = 1e-300
"""Stands for a factor of nought, whose logarithm has no value."""
ROUNDING_NATS = 37.0
"""exp(-37) is below the rounding of a float near one."""
MOST_CELLS = 1 << 21
"""How many cells of chances are worked out at once."""
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Chance:
    """``count`` independent events, each of which asks for ``weight`` with probability ``p``.

    ``weight`` is in pieces for countable items, in millionths for measured ones. ``likely`` is ``p`` as a float.
    """

    item: int
    weight: int
    p: Fraction
    count: int
    likely: float = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "likely", float(self.p))


@dataclass(frozen=True, slots=True)
class JobWear:
    """What may be found worn in one job: chances of one item, and the spares its kits bring, in units of weight."""

    job: int
    day: int
    chances: tuple[Chance, ...]
    spares: int = 0


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
    return cover_items({0: jobs}, {0: how_sure_percent}, {0: countable})[0]


def cover_items(
    wear: Mapping[int, Sequence[JobWear]], how_sure: Mapping[int, float], countable: Mapping[int, bool]
) -> dict[int, Cover]:
    """Plan the wear of many items at once.

    Parameters
    ----------
    wear : what may be found worn, by item
    how_sure : per cent of certainty asked for, by item
    countable : whether the item is counted in pieces, by item
    """
    covers = {item: _measured(jobs) for item, jobs in wear.items() if not countable[item]}
    sizes: dict[int, list[_Sums]] = defaultdict(list)
    for item, jobs in wear.items():
        if countable[item]:
            sums = _Sums(item, jobs)
            sizes[sums.size].append(sums)
    for size, group in sizes.items():
        for start in range(0, len(group), max(1, MOST_CELLS // size // 8)):
            part = group[start : start + max(1, MOST_CELLS // size // 8)]
            for sums, enough in zip(part, _enough_by_day(part, size), strict=True):
                covers[sums.item] = sums.cover(enough, how_sure[sums.item])
    return covers


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


class _Sums:
    """The sums of one item by day: which events fall on each day, and the jobs that have spares of their own."""

    def __init__(self, item: int, jobs: Sequence[JobWear]) -> None:
        self.item = item
        self.days = tuple(sorted({job.day for job in jobs}))
        place = {day: number for number, day in enumerate(self.days)}
        self.events: list[tuple[int, int, float, int]] = []
        self.alone: list[tuple[int, Floats]] = []
        self.positions, self.spares, self.expected, most = 0, 0, 0.0, 0
        mean, spread, heaviest = 0.0, 0.0, 1
        for job in jobs:
            for chance in job.chances:
                pieces = chance.weight * chance.count
                self.positions += pieces
                self.expected += pieces * chance.likely
                if not job.spares:
                    most += pieces
                    mean += pieces * chance.likely
                    spread += pieces * chance.weight * chance.likely * (1 - chance.likely)
                    heaviest = max(heaviest, chance.weight)
                    self.events.append((place[job.day], chance.weight, chance.likely, chance.count))
            if job.spares:
                self.spares += job.spares
                self.alone.append((place[job.day], _after_spares(job)))
                most += self.alone[-1][1].size - 1
                mean += self.alone[-1][1].size - 1
        self.size = 1 << min(most, _beyond_doubt(mean, spread, heaviest)).bit_length()

    def cover(self, enough: Floats, how_sure_percent: float) -> Cover:
        """The plan that follows from the cumulative chances by day."""
        reached = enough >= how_sure_percent / 100 - TOLERANCE
        needed = np.where(reached.any(axis=1), np.argmax(reached, axis=1), enough.shape[1] - 1)
        steps = np.diff(np.maximum.accumulate(needed), prepend=0) * ONE
        return Cover(
            self.days, tuple(steps.tolist()), enough[-1], self.positions * ONE, self.spares * ONE, self.expected
        )


def chances_of_job(
    structure: Structure, rates: LearnedRates, positions: Iterable[Position]
) -> dict[int, tuple[Chance, ...]]:
    """Chances by item from positions listed one by one (a stripped job): groups stand or fall together."""
    single: dict[tuple[int, int, Fraction], int] = defaultdict(int)
    groups: dict[tuple[object, ...], list[Position]] = defaultdict(list)
    for position in positions:
        if position.group is not None:
            groups[position.group].append(position)
            continue
        item = int(structure.child[position.line])
        p = rates.chance(structure, position.line) or Fraction(0)
        single[item, _weight(structure, item, position.quantity), p] += 1
    for members in groups.values():
        together = 1 - _product(1 - (rates.chance(structure, m.line) or Fraction(0)) for m in members)
        weights: dict[int, int] = defaultdict(int)
        for member in members:
            item = int(structure.child[member.line])
            weights[item] += _weight(structure, item, member.quantity)
        for item, weight in weights.items():
            single[item, weight, together] += 1
    return _by_item(single)


def chances_of_recipe(
    structure: Structure, rates: LearnedRates, explosion: Explosion, entries: Sequence[int], recipe: int
) -> dict[int, tuple[Chance, ...]]:
    """Chances by item of a job that nobody has stripped, from the inspected ``entries`` that its recipe reaches."""
    single: dict[tuple[int, int, Fraction], int] = defaultdict(int)
    groups: dict[tuple[object, ...], list[tuple[int, int]]] = defaultdict(list)
    pumps = explosion.recipes[recipe].quantity
    rows = structure.scopes[explosion.recipes[recipe].pump, explosion.recipes[recipe].scope]
    sizes: dict[tuple[object, ...], int] = {}
    for entry in entries:
        section, root, line, count = (int(column[entry]) for column in explosion.looks[1:])
        held = structure.lines[line]
        item = int(structure.child[line])
        pieces = count * held.quantity // ONE if structure.countable[item] else count
        label = fold(held.renew_together)
        if not label:
            weight = 1 if structure.countable[item] else held.quantity
            single[item, weight, rates.chance(structure, line) or Fraction(0)] += pieces
            continue
        key: tuple[object, ...] = (label, held.renew_together_over)
        if held.renew_together_over == "assembly":
            key, size = (*key, section, root, held.parent), count
        elif held.renew_together_over == "section":
            key, size = (*key, section), rows[section].how_many * pumps
        else:
            size = pumps
        sizes[key] = size
        groups[key].append((line, pieces))
    for key, members in groups.items():
        size = sizes[key]
        together = 1 - _product(
            (1 - (rates.chance(structure, line) or Fraction(0))) ** (pieces // size) for line, pieces in members
        )
        weights: dict[int, int] = defaultdict(int)
        for line, pieces in members:
            item = int(structure.child[line])
            each = 1 if structure.countable[item] else structure.lines[line].quantity
            weights[item] += pieces // size * each
        for item, weight in weights.items():
            single[item, weight, together] += size
    return _by_item(single)


def _by_item(single: Mapping[tuple[int, int, Fraction], int]) -> dict[int, tuple[Chance, ...]]:
    gathered: dict[int, list[Chance]] = defaultdict(list)
    for (item, weight, p), count in single.items():
        gathered[item].append(Chance(item, weight, p, count))
    return {item: tuple(chances) for item, chances in gathered.items()}


def _weight(structure: Structure, item: int, quantity: int) -> int:
    return 1 if structure.countable[item] else quantity


def _product(factors: Iterable[Fraction]) -> Fraction:
    result = Fraction(1)
    for factor in factors:
        result *= factor
    return result


def _enough_by_day(group: Sequence[_Sums], size: int) -> list[Floats]:
    """Chances that 0, 1, 2... pieces are enough up to and with each day, for each item shape (days, size).

    Independent sums multiply as Fourier transforms, and their logarithms add: one transform for all items and days
    whose sums have at most ``size`` values.
    """
    first = np.cumsum([0, *(len(sums.days) for sums in group)])
    rows = [(first[n] + day, weight, p, count) for n, sums in enumerate(group) for day, weight, p, count in sums.events]
    table = np.array(rows, float).reshape(-1, 4)
    kinds, kind = np.unique(table[:, 1:3], axis=0, return_inverse=True)
    turn = np.exp(-2j * np.pi / size * np.outer(kinds[:, 0], np.arange(size // 2 + 1)))
    factor = 1 - kinds[:, 1:2] + kinds[:, 1:2] * turn
    logs = np.log(np.where(factor == 0, SMALLEST, factor))
    summed = np.zeros((int(first[-1]), size // 2 + 1), complex)
    order = np.argsort(table[:, 0], kind="stable")
    row = table[order, 0].astype(np.int64)
    start = np.flatnonzero(np.diff(row, prepend=-1))
    if start.size:
        summed[row[start]] = np.add.reduceat(logs[kind.ravel()[order]] * table[order, 3][:, None], start, axis=0)
    day_of = np.arange(first[-1]) - np.repeat(first[:-1], np.diff(first))
    for day in range(1, int(day_of.max(initial=0)) + 1):
        here = np.flatnonzero(day_of == day)
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
