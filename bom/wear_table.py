"""What may be found worn: chances by item and job, from recipes that nobody has stripped and from strip reports."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from bom.explosion import Explosion, Table, multiplied, sum_up
from bom.keys import fold
from bom.positions import Position
from bom.strip_report import LearnedRates, Report
from bom.structure import Ints, Structure, spread
from bom.values import ONE

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


class WearTable(Mapping[int, tuple[JobWear, ...]]):
    """What may be found worn in all jobs, one row for each kind of event of one item in one job.

    ``item``, ``day``, ``job``, ``weight``, ``kind``, ``count`` are int64 arrays of equal length, sorted by item, day
    and job; ``kind`` points into ``chances`` and ``likely`` (the same as floats). ``spares`` are in units of weight by
    item and job. Read as a mapping it gives the jobs of one item.
    """

    def __init__(self, rows: Table, chances: Sequence[Fraction], spares: Mapping[tuple[int, int], int]) -> None:
        order = np.lexsort((rows[2], rows[1], rows[0]))
        self.item, self.day, self.job, self.weight, self.kind, self.count = (column[order] for column in rows)
        self.chances = tuple(chances)
        self.likely: Floats = np.array([float(p) for p in chances])
        self.spares = dict(spares)
        self.listed, self._first = np.unique(self.item, return_index=True)

    @classmethod
    def of(cls, jobs: Mapping[int, Sequence[JobWear]]) -> WearTable:
        """A table from jobs listed by item."""
        kinds: dict[Fraction, int] = {}
        rows = [
            (item, job.day, job.job, chance.weight, kinds.setdefault(chance.p, len(kinds)), chance.count)
            for item, listed in jobs.items()
            for job in listed
            for chance in job.chances
        ]
        spares = {(item, job.job): job.spares for item, listed in jobs.items() for job in listed if job.spares}
        return cls(tuple(np.array(rows, np.int64).reshape(-1, 6).T), tuple(kinds), spares)

    def rows_of(self, item: int) -> slice:
        """The rows of one item."""
        place = int(np.searchsorted(self.listed, item))
        if place == self.listed.size or self.listed[place] != item:
            raise KeyError(item)
        last = self._first[place + 1] if place + 1 < self._first.size else self.item.size
        return slice(int(self._first[place]), int(last))

    def __getitem__(self, item: int) -> tuple[JobWear, ...]:
        rows = self.rows_of(item)
        jobs: dict[tuple[int, int], list[Chance]] = defaultdict(list)
        columns = (column[rows].tolist() for column in (self.day, self.job, self.weight, self.kind, self.count))
        for day, job, weight, kind, count in zip(*columns, strict=True):
            jobs[job, day].append(Chance(item, weight, self.chances[kind], count))
        return tuple(
            JobWear(job, day, tuple(chances), self.spares.get((item, job), 0)) for (job, day), chances in jobs.items()
        )

    def __iter__(self) -> Iterator[int]:
        return iter(self.listed.tolist())

    def __len__(self) -> int:
        return int(self.listed.size)

    def items_of(self, jobs: Iterable[int]) -> set[int]:
        """The items that may be found worn in any of these jobs."""
        return set(np.unique(self.item[np.isin(self.job, list(jobs))]).tolist())

    def __contains__(self, item: object) -> bool:
        place = int(np.searchsorted(self.listed, item)) if isinstance(item, int) else self.listed.size
        return place < self.listed.size and bool(self.listed[place] == item)


def gather_wear(
    structure: Structure,
    explosion: Explosion,
    rates: LearnedRates,
    reported: Mapping[int, Report],
    askers: tuple[Ints, Ints],
    spares: Table,
) -> WearTable:
    """All chances of all jobs.

    Parameters
    ----------
    reported : strip reports by recipe number
    askers : recipe (or -1) and build day of each asker
    spares : recipe, item, millionths
    """
    kinds = _Kinds(structure, rates)
    tables = [_plain_rows(structure, explosion, kinds, list(reported))]
    by_recipe = {number: chances_of_job(structure, rates, report.open) for number, report in reported.items()}
    by_recipe |= _special_chances(structure, explosion, rates, set(reported))
    listed = [
        (recipe, item, chance.weight, kinds.number(chance.p), chance.count)
        for recipe, items in by_recipe.items()
        for item, chances in items.items()
        for chance in chances
    ]
    tables.append(tuple(np.array(listed, np.int64).reshape(-1, 5).T))
    stacked = tuple(np.concatenate(columns) for columns in zip(*tables, strict=True))
    recipe, item, weight, kind, count = sum_up(stacked[:4], stacked[4])
    of_asker, day = askers
    first = np.searchsorted(recipe, np.arange(len(explosion.recipes) + 1))
    jobs = np.flatnonzero(of_asker >= 0)
    begin, end = first[of_asker[jobs]], first[of_asker[jobs] + 1]
    row, job = spread(begin, end), np.repeat(jobs, end - begin)
    return WearTable(
        (item[row], day[job], job, weight[row], kind[row], count[row]),
        kinds.chances,
        _spares(structure, spares, of_asker),
    )


class _Kinds:
    """Numbers for distinct chances; those that were entered are numbered with the structure."""

    def __init__(self, structure: Structure, rates: LearnedRates) -> None:
        self.chances = list(structure.entered_chances)
        self._numbers = {p: number for number, p in enumerate(self.chances)}
        self.of_line = structure.entered_kind.copy()
        for line in rates.learned():
            self.of_line[line] = self.number(rates.chance(structure, line) or Fraction(0))

    def number(self, p: Fraction) -> int:
        """The number of one chance."""
        if p not in self._numbers:
            self._numbers[p] = len(self.chances)
            self.chances.append(p)
        return self._numbers[p]


def _plain_rows(structure: Structure, explosion: Explosion, kinds: _Kinds, reported: Sequence[int]) -> Table:
    """Countable positions that stand alone: recipe, item, weight, kind of chance, count."""
    recipe, _, _, line, count = explosion.looks
    plain = ~structure.in_group[line] & structure.countable[structure.child[line]] & ~np.isin(recipe, reported)
    line = line[plain]
    pieces = multiplied(count[plain], structure.quantity[line] // ONE)
    return recipe[plain], structure.child[line], np.ones_like(line), kinds.of_line[line], pieces


def _special_chances(
    structure: Structure, explosion: Explosion, rates: LearnedRates, reported: set[int]
) -> dict[int, dict[int, tuple[Chance, ...]]]:
    """Chances of groups and of measured items, recipe by recipe."""
    line = explosion.looks[3]
    special = np.flatnonzero(structure.in_group[line] | ~structure.countable[structure.child[line]])
    entries: dict[int, list[int]] = defaultdict(list)
    for entry, recipe in zip(special.tolist(), explosion.looks[0][special].tolist(), strict=True):
        if recipe not in reported:
            entries[recipe].append(entry)
    return {recipe: chances_of_recipe(structure, rates, explosion, rows, recipe) for recipe, rows in entries.items()}


def _spares(structure: Structure, spares: Table, of_asker: Ints) -> dict[tuple[int, int], int]:
    """Spares by item and job, in units of weight."""
    jobs: dict[int, list[int]] = defaultdict(list)
    for job, recipe in enumerate(of_asker.tolist()):
        jobs[recipe].append(job)
    return {
        (item, job): quantity // ONE if structure.countable[item] else quantity
        for recipe, item, quantity in zip(*(column.tolist() for column in spares), strict=True)
        for job in jobs[recipe]
    }


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
