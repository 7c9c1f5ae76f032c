"""What may be found worn: chances by item and job, from recipes that nobody has stripped and from strip reports."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from bom.demand.askers import Asker
from bom.demand.explosion import Explosion, Looks
from bom.demand.kit_cover import RecipeParts
from bom.demand.positions import Position
from bom.demand.strip_report import LearnedRates, Report
from bom.structure.arrays import GROUP_REACHES, Structure
from bom.structure.tables import Floats, Ints, Table, freeze, multiplied, runs, sorted_by, spread
from bom.values import ONE


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


@dataclass(frozen=True)
class WearRows(Table):
    """One row for each kind of event of one item in one job; ``kind`` is the number of its chance."""

    item: Ints
    day: Ints
    job: Ints
    weight: Ints
    kind: Ints
    count: Ints


@dataclass(frozen=True)
class _RecipeWear(Table):
    """One row for each kind of event of one item in one recipe."""

    recipe: Ints
    item: Ints
    weight: Ints
    kind: Ints
    count: Ints


@dataclass(frozen=True)
class _Bounds(Table):
    """The first row of each of some items, and the one after its last."""

    first: Ints
    end: Ints


class WearTable(Mapping[int, tuple[JobWear, ...]]):
    """What may be found worn in all jobs: the columns of `WearRows`, sorted by item, day and job.

    ``kind`` points into ``chances`` and ``likely`` (the same as floats). ``spares`` are in units of weight by item and
    job. Read as a mapping it gives the jobs of one item.
    """

    def __init__(self, rows: WearRows, chances: Sequence[Fraction], spares: Mapping[tuple[int, int], int]) -> None:
        ordered = rows.take(sorted_by((rows.item, rows.day, rows.job)))
        self.item, self.day, self.job, self.weight, self.kind, self.count = ordered.columns()
        self.chances = tuple(chances)
        self.likely: Floats = np.array([float(p) for p in chances])
        self.spares = dict(spares)
        self.listed, self._first = np.unique(self.item, return_index=True)
        freeze(self)

    @classmethod
    def of(cls, jobs: Mapping[int, Sequence[JobWear]]) -> WearTable:
        """A table from jobs listed by item.

        Parameters
        ----------
        jobs : what may be found worn in each job, by item number
        """
        kinds: dict[Fraction, int] = {}
        rows = [
            (item, job.day, job.job, chance.weight, kinds.setdefault(chance.p, len(kinds)), chance.count)
            for item, listed in jobs.items()
            for job in listed
            for chance in job.chances
        ]
        spares = {(item, job.job): job.spares for item, listed in jobs.items() for job in listed if job.spares}
        return cls(WearRows.of_rows(rows), tuple(kinds), spares)

    def rows_of(self, item: int) -> slice:
        """The rows of one item.

        Parameters
        ----------
        item : number of the item

        Raises
        ------
        KeyError
            If nothing of it may be found worn.
        """
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

    def same_as(self, other: WearTable) -> list[int]:
        """The items of which both tables say the same, whatever the numbers of the jobs.

        Parameters
        ----------
        other : another table of items with the same numbers
        """
        numbers: dict[Fraction, int] = {}
        mine, theirs = self._compared(numbers), other._compared(numbers)
        items = np.intersect1d(self.listed, other.listed)
        here, there = self._bounds(items), other._bounds(items)
        alike = here.end - here.first == there.end - there.first
        items, here, there = items[alike], here.take(alike), there.take(alike)
        row, same = np.repeat(np.arange(items.size), here.end - here.first), np.ones(items.size, bool)
        for column, of_other in zip(mine, theirs, strict=True):
            same[row[column[spread(here.first, here.end)] != of_other[spread(there.first, there.end)]]] = False
        spares, others = self._spares_by_item(), other._spares_by_item()
        return [item for item in items[same].tolist() if spares.get(item) == others.get(item)]

    def _bounds(self, items: Ints) -> _Bounds:
        return _Bounds(np.searchsorted(self.item, items), np.searchsorted(self.item, items, side="right"))

    def _compared(self, numbers: dict[Fraction, int]) -> tuple[Ints, ...]:
        """The columns that decide, with where a job begins in place of its number, and the spares that it brings."""
        kind = np.array([numbers.setdefault(p, len(numbers)) for p in self.chances], np.int64)[self.kind]
        begins = np.ones(self.item.size, np.int64)
        begins[1:] = (self.item[1:] != self.item[:-1]) | (self.job[1:] != self.job[:-1])
        spare = np.zeros(self.item.size, np.int64)
        first = np.flatnonzero(begins)
        pairs = zip(self.item[first].tolist(), self.job[first].tolist(), strict=True)
        spare[first] = [self.spares.get(pair, 0) for pair in pairs]
        return self.day, self.weight, kind, self.count, begins, spare

    def _spares_by_item(self) -> dict[int, int]:
        total: dict[int, int] = defaultdict(int)
        for (item, _), quantity in self.spares.items():
            total[item] += quantity
        return total

    def items_of(self, jobs: Iterable[int]) -> set[int]:
        """The items that may be found worn in any of these jobs.

        Parameters
        ----------
        jobs : numbers of askers
        """
        return set(np.unique(self.item[np.isin(self.job, list(jobs))]).tolist())


def gather_wear(
    structure: Structure,
    explosion: Explosion,
    rates: LearnedRates,
    reported: Mapping[int, Report],
    askers: Sequence[Asker],
    spares: RecipeParts,
) -> WearTable:
    """Return all chances of all jobs.

    Parameters
    ----------
    structure : the compiled catalog
    explosion : what the recipes reach
    rates : what strip reports have taught
    reported : strip reports by recipe number
    askers : jobs and other needs, in the order of their numbers
    spares : what the kits of each recipe bring for positions that are looked at
    """
    kinds = _Kinds(structure, rates)
    by_recipe = {number: chances_of_job(structure, rates, report.open) for number, report in reported.items()}
    listed = [
        (recipe, item, chance.weight, kinds.number(chance.p), chance.count)
        for recipe, items in by_recipe.items()
        for item, chances in items.items()
        for chance in chances
    ]
    looks = explosion.looks.take(~np.isin(explosion.looks.recipe, list(reported)))
    in_group = structure.group_label[looks.line] >= 0
    alone = _alone(structure, kinds, looks.take(~in_group))
    together = _in_groups(structure, explosion, kinds, looks.take(in_group))
    worn = _RecipeWear.together((alone, together, _RecipeWear.of_rows(listed))).summed()
    of_asker = np.array([asker.recipe for asker in askers], np.int64)
    day = np.array([asker.build_day for asker in askers], np.int64)
    first = np.searchsorted(worn.recipe, np.arange(len(explosion.recipes) + 1))
    jobs = np.flatnonzero(of_asker >= 0)
    begin, end = first[of_asker[jobs]], first[of_asker[jobs] + 1]
    worn, job = worn.take(spread(begin, end)), np.repeat(jobs, end - begin)
    rows = WearRows(worn.item, day[job], job, worn.weight, worn.kind, worn.count)
    return WearTable(rows, kinds.chances, _spares(structure, spares, of_asker))


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


def _alone(structure: Structure, kinds: _Kinds, looks: Looks) -> _RecipeWear:
    """Positions that stand alone."""
    item, quantity = structure.child[looks.line], structure.quantity[looks.line]
    countable = structure.countable[item]
    pieces = multiplied(looks.count, np.where(countable, quantity // ONE, 1))
    return _RecipeWear(looks.recipe, item, np.where(countable, 1, quantity), kinds.of_line[looks.line], pieces)


def _in_groups(structure: Structure, explosion: Explosion, kinds: _Kinds, looks: Looks) -> _RecipeWear:
    """Positions that are renewed together; equal groups are worked out once."""
    line, count = looks.line, looks.count
    over = structure.group_over[line]
    inside = over == GROUP_REACHES.index("assembly")
    in_section = over == GROUP_REACHES.index("section")
    pumps = np.array([one.quantity for one in explosion.recipes], np.int64)[looks.recipe]
    size = np.where(inside, count, pumps)
    size[in_section] *= _sections_in_pump(structure, explosion, looks.take(in_section))
    countable = structure.countable[structure.child[line]]
    each = np.where(countable, multiplied(count, structure.quantity[line]) // ONE, count) // size
    keys = (
        looks.recipe, structure.group_label[line], over, np.where(inside | in_section, looks.section, -1),
        np.where(inside, looks.root, -2), np.where(inside, structure.parent[line], -1),
    )  # fmt: skip
    order = np.lexsort(keys)
    lines, times = line[order].tolist(), each[order].tolist()
    recipes, sizes = looks.recipe[order].tolist(), size[order].tolist()
    known: dict[tuple[tuple[int, ...], tuple[int, ...]], list[tuple[int, int, int]]] = {}
    rows: list[tuple[int, int, int, int, int]] = []
    for begin, end in runs(*(key[order] for key in keys)):
        members = tuple(lines[begin:end]), tuple(times[begin:end])
        if members not in known:
            known[members] = _together(structure, kinds, *members)
        rows += [(recipes[begin], *event, sizes[begin]) for event in known[members]]
    return _RecipeWear.of_rows(rows)


def _sections_in_pump(structure: Structure, explosion: Explosion, looks: Looks) -> Ints:
    """How many of its section one pump has opened, row by row."""
    ways = zip(looks.recipe.tolist(), looks.section.tolist(), strict=True)
    listed = [(explosion.recipes[number], place) for number, place in ways]
    return np.array([structure.scopes[way.pump, way.scope][place].how_many for way, place in listed], np.int64)


def _together(
    structure: Structure, kinds: _Kinds, lines: Sequence[int], times: Sequence[int]
) -> list[tuple[int, int, int]]:
    """What one group asks for with the chance that any of its positions is worn: item, weight, kind of chance."""
    alone = (
        (1 - kinds.chances[kinds.of_line[line]]) ** positions for line, positions in zip(lines, times, strict=True)
    )
    kind = kinds.number(1 - _product(alone))
    weights: dict[int, int] = defaultdict(int)
    for line, positions in zip(lines, times, strict=True):
        item = int(structure.child[line])
        weights[item] += positions * _weight(structure, item, int(structure.quantity[line]))
    return [(item, weight, kind) for item, weight in weights.items()]


def _spares(structure: Structure, spares: RecipeParts, of_asker: Ints) -> dict[tuple[int, int], int]:
    """Spares by item and job, in units of weight."""
    jobs: dict[int, list[int]] = defaultdict(list)
    for job, recipe in enumerate(of_asker.tolist()):
        jobs[recipe].append(job)
    return {
        (item, job): quantity // ONE if structure.countable[item] else quantity
        for recipe, item, quantity in zip(*(column.tolist() for column in spares.columns()), strict=True)
        for job in jobs[recipe]
    }


def chances_of_job(
    structure: Structure, rates: LearnedRates, positions: Iterable[Position]
) -> dict[int, tuple[Chance, ...]]:
    """Chances by item from positions listed one by one (a stripped job): groups stand or fall together.

    Parameters
    ----------
    structure : the compiled catalog
    rates : what strip reports have taught
    positions : those of the job that have no verdict
    """
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
