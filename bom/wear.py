"""Planned demand of inspected positions: how many pieces cover what may be found worn, pooled over all jobs.

The number found worn in one job is a sum of independent positions and groups; what a kit brings as spares serves its
own job first. ``cover`` is the smallest whole number that is enough with the chance asked for.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from bom.explosion import Explosion
from bom.positions import Position
from bom.strip_report import LearnedRates
from bom.structure import Structure
from bom.values import ONE

TOLERANCE = 1e-12
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Chance:
    """``count`` independent events, each of which asks for ``weight`` with probability ``p``.

    ``weight`` is in pieces for countable items, in millionths for measured ones.
    """

    item: int
    weight: int
    p: Fraction
    count: int


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
    by_day: dict[int, list[JobWear]] = defaultdict(list)
    for job in jobs:
        by_day[job.day].append(job)
    positions = sum(chance.weight * chance.count for job in jobs for chance in job.chances)
    expected = sum((chance.weight * chance.count * chance.p for job in jobs for chance in job.chances), Fraction(0))
    spares = sum(job.spares for job in jobs)
    days = tuple(sorted(by_day))
    if not countable:
        planned = tuple(_expected_quantity(by_day[day]) for day in days)
        return Cover(days, planned, np.zeros(0), positions, spares, float(expected / ONE))
    sofar, before, steps = np.ones(1), 0, []
    for day in days:
        sofar = _convolve(sofar, _found_worn(by_day[day]))
        needed = max(before, _smallest_enough(sofar, how_sure_percent / 100))
        steps.append((needed - before) * ONE)
        before = needed
    enough = np.minimum(np.cumsum(sofar), 1.0)
    return Cover(days, tuple(steps), enough, positions * ONE, spares * ONE, float(expected))


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
        if not held.renew_together:
            weight = 1 if structure.countable[item] else held.quantity
            single[item, weight, rates.chance(structure, line) or Fraction(0)] += pieces
            continue
        key: tuple[object, ...] = (held.renew_together, held.renew_together_over)
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


def _found_worn(jobs: Sequence[JobWear]) -> Floats:
    """Distribution of the pieces that jobs of one day ask for, after each job's own spares."""
    pooled: dict[tuple[int, Fraction], int] = defaultdict(int)
    result = np.ones(1)
    for job in jobs:
        if job.spares == 0:
            for chance in job.chances:
                pooled[chance.weight, chance.p] += chance.count
            continue
        alone = np.ones(1)
        for chance in job.chances:
            alone = _convolve(alone, _scaled_binomial(chance.count, float(chance.p), chance.weight))
        served = min(job.spares, alone.size - 1)
        result = _convolve(result, np.concatenate(([alone[: served + 1].sum()], alone[served + 1 :])))
    for (weight, p), count in pooled.items():
        result = _convolve(result, _scaled_binomial(count, float(p), weight))
    return result


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


def _convolve(first: Floats, second: Floats) -> Floats:
    if second.size == 1:
        scaled: Floats = first * second[0]
        return scaled
    both: Floats = np.convolve(first, second)
    return both


def _smallest_enough(chances: Floats, sure: float) -> int:
    reached = np.cumsum(chances) >= sure - TOLERANCE
    return int(np.argmax(reached)) if reached.any() else chances.size - 1


def _expected_quantity(jobs: Sequence[JobWear]) -> int:
    """Expected quantity of a measured item on one day, in millionths, rounded half to even."""
    total = Fraction(0)
    for job in jobs:
        expected = sum((chance.weight * chance.count * chance.p for chance in job.chances), Fraction(0))
        total += max(Fraction(0), expected - job.spares)
    return round(total)
