"""From jobs to what they need: walk down from the opened sections, once per distinct way a pump can be rebuilt.

The product of the quantities along each way down is the number of instances; totals over all ways equal the Gozinto
theorem x = (I - Q)^-1 d (A. Vazsonyi, Scientific Programming in Business and Industry, 1958).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from bom.errors import Fault, QuantityError, ShopError
from bom.structure.arrays import CLEANLINESS, INSPECT, NO_MARK, OPEN, RENEW, Bools, Ints, Structure, day_number, spread
from bom.structure.keys import fold
from bom.values import ONE, Job, Options

NO_KIT = -1


@dataclass(frozen=True, slots=True)
class Recipe:
    """One distinct way of rebuilding: everything about a job that decides what it needs, but not when.

    ``serial_band`` and ``date_band`` say which limited lines are met; ``day`` is a build day within the band.
    ``cleanliness`` points into ``CLEANLINESS``. ``single`` is the number of the job when it has a history of its own
    (verdicts, issues), else -1.
    """

    pump: str
    scope: str
    answers: Options
    day: int
    date_band: int
    serial_band: tuple[int, int]
    quantity: int
    use_kits: bool
    cleanliness: int = 0
    single: int = -1


Table = tuple[Ints, ...]
"""Columns of equal length."""


@dataclass(frozen=True)
class Explosion:
    """What the recipes reach. ``jobs`` names the jobs of each recipe.

    needs : recipe, kit-covered assembly (``NO_KIT`` = none), item, quantity in millionths; summed, sorted
    looks : inspected lines: recipe, section row, covered assembly, line, instances of the line's parent (not
    multiplied) covered : recipe, assembly that a kit covers, instances opened; summed, sorted serial_needed : recipes
    that reach a line which depends on a serial nobody stated
    """

    recipes: tuple[Recipe, ...]
    jobs: tuple[tuple[str, ...], ...]
    needs: Table
    looks: Table
    covered: Table
    serial_needed: frozenset[int]


@dataclass(frozen=True)
class Conditions:
    """Which conditional lines each recipe meets. ``met`` has shape (rows, requirements).

    After the rows of the recipes come rows that meet every option and serial limit, one for each band of days between
    the date limits that lines name: for what is asked without a job. ``cleanliness`` is for the recipes alone.
    """

    structure: Structure
    met: Bools
    date_day: Ints
    serial_right: Ints
    serial_left: Ints
    cleanliness: Ints
    recipes: int

    def on_day(self, day: int) -> int:
        """The row that meets every option, and the date limits of ``day``."""
        return self.recipes + self.structure.date_band(day)

    def on_days(self, days: Ints) -> Ints:
        """Do `on_day` for many days."""
        return np.searchsorted(self.structure.date_marks, days, side="right") + self.recipes

    def apply(self, line: Ints, recipe: Ints) -> Bools:
        """Whether each line (numbers) applies to its recipe (numbers), element by element."""
        s = self.structure
        good = np.ones(line.size, bool)
        asked = np.flatnonzero(s.conditional[line])
        line, recipe = line[asked], recipe[asked]
        day = self.date_day[recipe]
        good[asked] = (
            self.met[recipe, s.requirement[line]]
            & (s.from_day[line] <= day)
            & (day <= s.to_day[line])
            & (s.from_mark[line] < self.serial_right[recipe])
            & (self.serial_left[recipe] <= s.to_mark[line])
        )
        return good

    def kit_serves(self, kit: Ints, assembly: Ints, recipe: Ints) -> Bools:
        """Whether each kit is clean enough for its assembly: in clean work, wetted parts come in kits of that class."""
        s, wanted = self.structure, self.cleanliness[recipe]
        return np.asarray((wanted == 0) | ~s.wetted_below[assembly] | (s.item_class[kit] == wanted))

    def meets(self, line: int, recipe: int) -> bool:
        """Whether one line applies to one recipe."""
        s, day = self.structure, self.date_day[recipe]
        return not s.conditional[line] or bool(
            self.met[recipe, s.requirement[line]]
            and s.from_day[line] <= day <= s.to_day[line]
            and s.from_mark[line] < self.serial_right[recipe]
            and self.serial_left[recipe] <= s.to_mark[line]
        )


def answers_of(structure: Structure, job: Job) -> Options:
    """The answers that hold for a job: its own, else the scope's, else the pump's default."""
    answers = dict(structure.items[structure.index[job.pump]].default_options)
    for row in structure.scopes.get((job.pump, job.scope), ()):
        answers.update(row.options)
    answers.update(job.options)
    return tuple(sorted(answers.items()))


def recipe_of(structure: Structure, job: Job, single: int = -1) -> Recipe:
    """The way in which ``job`` is rebuilt."""
    rows = structure.scopes.get((job.pump, job.scope), ())
    day = day_number(job.build_on)
    use_kits = job.use_kits if job.use_kits is not None else all(row.use_kits for row in rows)
    band = structure.date_band(day)
    return Recipe(
        pump=job.pump,
        scope=job.scope,
        answers=answers_of(structure, job),
        day=structure.band_day(band),
        date_band=band,
        serial_band=structure.serial_band(job.serial),
        quantity=job.quantity,
        use_kits=use_kits,
        cleanliness=CLEANLINESS.index(job.cleanliness),
        single=single,
    )


def conditions_of(structure: Structure, recipes: Sequence[Recipe]) -> Conditions:
    """Work out once which sets of options each recipe meets."""
    rows: dict[Options, Bools] = {}
    free_days = [structure.band_day(band) for band in range(len(structure.date_marks) + 1)]
    met = np.ones((len(recipes) + len(free_days), len(structure.requirements)), bool)
    for number, recipe in enumerate(recipes):
        row = rows.get(recipe.answers)
        if row is None:
            given = set(recipe.answers)
            row = rows[recipe.answers] = np.array([given.issuperset(asked) for asked in structure.requirements], bool)
        met[number] = row
    bands = [recipe.serial_band for recipe in recipes]
    return Conditions(
        structure=structure,
        met=met,
        date_day=np.array([recipe.day for recipe in recipes] + free_days, np.int64),
        serial_right=np.array([right for right, _ in bands] + [NO_MARK] * len(free_days), np.int64),
        serial_left=np.array([left for _, left in bands] + [0] * len(free_days), np.int64),
        cleanliness=np.array([recipe.cleanliness for recipe in recipes], np.int64),
        recipes=len(recipes),
    )


def explode(
    structure: Structure, conditions: Conditions, recipes: Sequence[Recipe], jobs: Sequence[Sequence[str]]
) -> Explosion:
    """Walk down level by level from the sections of every recipe's scope; ``jobs`` names the jobs of each recipe.

    Raises
    ------
    ShopError
        When an option is not answered, or answered with a value that no line knows; when clean work would get a
        wetted part that is not of its class.
    """
    recipe, section, assembly, count = _sections(structure, recipes)
    root = np.full(recipe.size, NO_KIT, np.int64)
    uses_kits = np.array([r.use_kits for r in recipes], bool)
    needs: list[tuple[Ints, ...]] = []
    looks: list[tuple[Ints, ...]] = []
    covered: list[tuple[Ints, ...]] = []
    asked: list[tuple[Ints, Ints]] = []
    unclean: list[tuple[Ints, Ints]] = []
    serial_needed: set[int] = set()
    while recipe.size:
        now = structure.level[assembly] == structure.level[assembly].min()
        later = [part[~now] for part in (recipe, section, root, assembly, count)]
        here = sum_up((recipe[now], section[now], root[now], assembly[now]), count[now])
        recipe, section, root, assembly, count = here
        takes = (root == NO_KIT) & uses_kits[recipe] & _any_fit(structure, conditions, recipe, assembly)
        root = np.where(takes, assembly, root)
        covered.append((recipe[takes], assembly[takes], count[takes]))
        start, stop = structure.first[assembly], structure.first[assembly + 1]
        line = spread(start, stop)
        entry = np.repeat(np.arange(assembly.size), stop - start)
        asked.append((recipe[entry], line))
        serial_needed |= limited_by_serial(structure, conditions, recipes, recipe[entry], line)
        fits = conditions.apply(line, recipe[entry])
        line, entry = line[fits], entry[fits]
        action = structure.action[line]
        loose = ~structure.bench[structure.child[line]]
        times = multiplied(count[entry], structure.quantity[line])
        renew = (action == RENEW) & loose
        unclean.append(_not_clean(conditions, recipe[entry], line, loose & ((action == RENEW) | (action == INSPECT))))
        needs.append((recipe[entry[renew]], root[entry[renew]], structure.child[line[renew]], times[renew]))
        look = (action == INSPECT) & loose
        looks.append((recipe[entry[look]], section[entry[look]], root[entry[look]], line[look], count[entry[look]]))
        opened = action == OPEN
        below = (recipe[entry[opened]], section[entry[opened]], root[entry[opened]], structure.child[line[opened]])
        recipe, section, root, assembly = (
            np.concatenate((old, new)) for old, new in zip(later[:4], below, strict=True)
        )
        count = np.concatenate((later[4], times[opened] // ONE))
    check_answers(structure, recipes, asked, jobs)
    _refuse_unclean(structure, recipes, unclean, jobs)
    need = sum_up(tuple(_join(needs, n) for n in range(3)), _join(needs, 3))
    cover = sum_up(tuple(_join(covered, n) for n in range(2)), _join(covered, 2))
    return Explosion(
        recipes=tuple(recipes),
        jobs=tuple(tuple(names) for names in jobs),
        serial_needed=frozenset(serial_needed),
        needs=need,
        looks=tuple(_join(looks, n) for n in range(5)),
        covered=cover,
    )


def limited_by_serial(
    structure: Structure, conditions: Conditions, recipes: Sequence[Recipe], recipe: Ints, line: Ints
) -> set[int]:
    """The recipes without a serial among those that reach a line which depends on it."""
    limited = structure.limited_by_serial[line] & conditions.met[recipe, structure.requirement[line]]
    unknown = len(structure.serial_marks)
    return {way for way in np.unique(recipe[limited]).tolist() if recipes[way].serial_band[1] > unknown}


def multiplied(count: Ints, quantity: Ints) -> Ints:
    """Whole instances times millionths, refused when it would not fit into 63 bits."""
    if count.size and float((count.astype(float) * quantity).max(initial=0.0)) > 9.0e18:
        raise QuantityError(
            "The structure multiplies to more than nine million million pieces; look for a quantity typed too large."
        )
    return count * quantity


def sum_up(keys: tuple[Ints, ...], quantity: Ints) -> tuple[Ints, ...]:
    """Sum quantities with equal keys; the result is sorted by the keys, first key first."""
    if not quantity.size:
        return *keys, quantity
    packed = _packed(keys)
    if packed is None:
        packed = np.unique(np.stack(keys, axis=1), axis=0, return_inverse=True)[1].ravel()
    order = np.argsort(packed, kind="stable")
    packed = packed[order]
    start = np.flatnonzero(np.concatenate(([True], packed[1:] != packed[:-1])))
    return *(key[order[start]] for key in keys), np.add.reduceat(quantity[order], start)


def sorted_by(keys: tuple[Ints, ...]) -> Ints:
    """Row numbers in the order of the keys, first key first; rows that are equal stay in their order."""
    packed = _packed(keys) if keys[0].size else None
    return np.lexsort(keys[::-1]) if packed is None else np.argsort(packed, kind="stable")


def _packed(keys: tuple[Ints, ...]) -> Ints | None:
    """Keys as one number each, in the same order; None where that takes more than 62 bits."""
    packed = np.zeros_like(keys[0])
    room = 1
    for key in keys:
        least = int(key.min())
        span = int(key.max()) - least + 1
        room *= span
        if room >= 1 << 62:
            return None
        packed = packed * span + (key - least)
    return packed


def check_answers(
    structure: Structure, recipes: Sequence[Recipe], asked: Sequence[tuple[Ints, Ints]], jobs: Sequence[Sequence[str]]
) -> None:
    """Every option that a reached line names must be answered, by a value that is known at its place."""
    known = structure.answers_checked
    sets: dict[Options, int] = {}
    answer_set = np.array([sets.setdefault(recipe.answers, len(sets)) for recipe in recipes], np.int64)
    answers = list(sets)
    wide = len(structure.lines)
    wrong: set[int] = set()
    for recipe, line in asked:
        place = structure.option_place[line]
        named = place >= 0
        pairs = answer_set[recipe[named]] * wide + place[named]
        bad = []
        for pair in np.unique(pairs).tolist():
            key = (answers[pair // wide], pair % wide)
            if key not in known:
                known[key] = tuple(_answer_faults(structure, *key))
            if known[key]:
                bad.append(pair)
        if not bad:
            continue
        for number in np.flatnonzero(np.isin(pairs, bad)).tolist():
            wrong.add(int(recipe[named][number]) * wide + int(place[named][number]))
    faults = [
        Fault(
            "Schedule",
            (job,),
            "option",
            f"Job {job} ({recipes[pair // wide].pump}, {recipes[pair // wide].scope}): {says}",
        )
        for pair in sorted(wrong)
        for job in jobs[pair // wide]
        for says in known[recipes[pair // wide].answers, pair % wide]
    ]
    if faults:
        raise ShopError(tuple(dict.fromkeys(faults)))


def _not_clean(conditions: Conditions, recipe: Ints, line: Ints, fitted: Bools) -> tuple[Ints, Ints]:
    """The wetted lines that would bring something into clean work that is not of its class: recipe and line numbers."""
    structure, wanted = conditions.structure, conditions.cleanliness[recipe]
    wrong = fitted & structure.wetted[line] & (wanted > 0) & (structure.item_class[structure.child[line]] != wanted)
    return recipe[wrong], line[wrong]


def _refuse_unclean(
    structure: Structure, recipes: Sequence[Recipe], unclean: Sequence[tuple[Ints, Ints]], jobs: Sequence[Sequence[str]]
) -> None:
    faults = []
    for recipe, line in unclean:
        for way, number in zip(recipe.tolist(), line.tolist(), strict=True):
            held, wanted = structure.lines[number], CLEANLINESS[recipes[way].cleanliness]
            place = f"at '{held.position}' of {held.parent}" if held.position else f"in {held.parent}"
            has = CLEANLINESS[structure.item_class[structure.child[number]]]
            says = (
                f"is {wanted}, but {held.child} {place} touches the liquid and is {has}; give that place a part of the"
                f" class {wanted}, or correct the class of {held.child}."
            )
            faults += [Fault("Schedule", (job,), "cleanliness", f"Job {job} {says}") for job in jobs[way]]
    if faults:
        raise ShopError(tuple(dict.fromkeys(faults)))


def _answer_faults(structure: Structure, answered: Options, number: int) -> Iterable[str]:
    """What is wrong with the answers at the position of one line; lines that another answer rules out do not count."""
    answers = dict(answered)
    first = structure.lines[number]
    lines = (structure.lines[n] for n in structure.lines_of(structure.index[first.parent]))
    place = fold(first.position)
    here = [line for line in lines if line.options and fold(line.position) == place]
    where = f"at '{first.position}' of {first.parent}" if first.position else f"in {first.parent}"
    for name in sorted({name for line in here for name, _ in line.options}):
        of_name = [line for line in here if name in dict(line.options)]
        if name not in answers:
            values = sorted({dict(line.options)[name] for line in of_name})
            yield f"{name} is not stated, and {where} it decides what is fitted; state one of {', '.join(values)}."
            continue
        possible = [
            line
            for line in of_name
            if all(key == name or answers.get(key, value) == value for key, value in line.options)
        ]
        fitting = sorted({dict(line.options)[name] for line in possible})
        if possible and answers[name] not in fitting:
            yield f"{name}={answers[name]} is not known {where}; known there: {', '.join(fitting)}."


def _sections(structure: Structure, recipes: Sequence[Recipe]) -> tuple[Ints, Ints, Ints, Ints]:
    rows = [
        (number, place, structure.index[row.section], row.how_many * recipe.quantity)
        for number, recipe in enumerate(recipes)
        for place, row in enumerate(structure.scopes.get((recipe.pump, recipe.scope), ()))
    ]
    table = np.array(rows, np.int64).reshape(-1, 4)
    return table[:, 0].copy(), table[:, 1].copy(), table[:, 2].copy(), table[:, 3].copy()


def _any_fit(structure: Structure, conditions: Conditions, recipe: Ints, assembly: Ints) -> Bools:
    start, stop = structure.fit_first[assembly], structure.fit_first[assembly + 1]
    fit = spread(start, stop)
    entry = np.repeat(np.arange(assembly.size), stop - start)
    good = conditions.met[recipe[entry], structure.fit_requirement[fit]]
    good &= conditions.kit_serves(structure.fit_kit[fit], assembly[entry], recipe[entry])
    found = np.zeros(assembly.size, bool)
    found[entry[good]] = True
    return found


def _join(parts: Sequence[tuple[Ints, ...]], column: int) -> Ints:
    return np.concatenate([part[column] for part in parts]) if parts else np.zeros(0, np.int64)


def group_recipes(structure: Structure, jobs: Sequence[Job], single: frozenset[str]) -> tuple[list[Recipe], Ints]:
    """The distinct recipes of ``jobs`` and the recipe number of each job; jobs named in ``single`` stand alone."""
    numbers: dict[Recipe, int] = {}
    of_job = []
    for place, job in enumerate(jobs):
        recipe = recipe_of(structure, job, place if job.job in single else -1)
        of_job.append(numbers.setdefault(recipe, len(numbers)))
    return list(numbers), np.array(of_job, np.int64)
