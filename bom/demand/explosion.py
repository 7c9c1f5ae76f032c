"""From jobs to what they need: walk down from the opened sections, once per distinct way a pump can be rebuilt.

The product of the quantities along each way down is the number of instances; totals over all ways equal the Gozinto
theorem x = (I - Q)^-1 d (A. Vazsonyi, Scientific Programming in Business and Industry, 1958).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from bom.errors import Fault, ShopError
from bom.structure.arrays import CLEANLINESS, INSPECT, NO_MARK, OPEN, RENEW, Structure, day_number
from bom.structure.keys import fold
from bom.structure.tables import Bools, Ints, Table, freeze, multiplied, spread
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


@dataclass(frozen=True)
class PartsWanted(Table):
    """What each recipe wants of an item, in millionths, apart for each assembly that a kit covers (``root``).

    ``root`` is ``NO_KIT`` for what lies in no such assembly. Summed, and sorted by the first three columns.
    """

    recipe: Ints
    root: Ints
    item: Ints
    quantity: Ints


@dataclass(frozen=True)
class Looks(Table):
    """The inspected lines that recipes reach, one row for each way down.

    ``section`` is the row of the scope, ``root`` as in `PartsWanted`; ``count`` are the instances of the parent of the
    ``line``.
    """

    recipe: Ints
    section: Ints
    root: Ints
    line: Ints
    count: Ints


@dataclass(frozen=True)
class CoveredAssemblies(Table):
    """The assemblies that a kit covers in each recipe, with the ``instances`` opened; summed and sorted."""

    recipe: Ints
    assembly: Ints
    instances: Ints


@dataclass(frozen=True)
class Reached(Table):
    """Lines that recipes reach, whether they apply or not."""

    recipe: Ints
    line: Ints


@dataclass(frozen=True)
class Explosion:
    """What the recipes reach. ``jobs`` names the jobs of each recipe.

    ``needs`` is renewed, ``looks`` inspected. ``serial_needed`` are the recipes that reach a line which depends on a
    serial nobody stated.
    """

    recipes: tuple[Recipe, ...]
    jobs: tuple[tuple[str, ...], ...]
    needs: PartsWanted
    looks: Looks
    covered: CoveredAssemblies
    serial_needed: frozenset[int]

    def covered_in(self, recipe: int) -> frozenset[int]:
        """Return the assemblies that a kit covers in one recipe.

        Parameters
        ----------
        recipe : its number
        """
        return frozenset(self.covered.assembly[self.covered.recipe == recipe].tolist())


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

    def __post_init__(self) -> None:
        freeze(self)

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

    def kits_fit(self, fit: Ints, assembly: Ints, recipe: Ints) -> Bools:
        """Whether each fit holds for its recipe: its options are met, and in clean work wetted parts come clean.

        Parameters
        ----------
        fit, assembly, recipe : numbers, element by element; of ``fits`` of the structure, and the assemblies they fit
        """
        s, wanted = self.structure, self.cleanliness[recipe]
        clean = (wanted == 0) | ~s.wetted_below[assembly] | (s.item_class[s.fit_kit[fit]] == wanted)
        return np.asarray(self.met[recipe, s.fit_requirement[fit]] & clean)

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
    walk = _Walk(structure, conditions, recipes)
    front = _sections(structure, recipes)
    while front.size:
        level = structure.level[front.assembly]
        now = level == level.min()
        front = _Front.together((front.take(~now), walk.open(front.take(now).summed())))
    asked = Reached.together(walk.asked)
    check_answers(structure, recipes, asked, jobs)
    _refuse_unclean(structure, recipes, Reached.together(walk.unclean), jobs)
    return Explosion(
        recipes=tuple(recipes),
        jobs=tuple(tuple(names) for names in jobs),
        needs=PartsWanted.together(walk.needs).summed(),
        looks=Looks.together(walk.looks),
        covered=CoveredAssemblies.together(walk.covered).summed(),
        serial_needed=limited_by_serial(structure, conditions, recipes, asked),
    )


@dataclass(frozen=True)
class _Front(Table):
    """Assemblies that are still to be opened, ``count`` instances of each; ``section`` and ``root`` as in `Looks`."""

    recipe: Ints
    section: Ints
    root: Ints
    assembly: Ints
    count: Ints


class _Walk:
    """Opens assemblies level by level, and gathers what lies in them."""

    def __init__(self, structure: Structure, conditions: Conditions, recipes: Sequence[Recipe]) -> None:
        self.structure, self.conditions = structure, conditions
        self.uses_kits = np.array([recipe.use_kits for recipe in recipes], bool)
        self.needs: list[PartsWanted] = []
        self.looks: list[Looks] = []
        self.covered: list[CoveredAssemblies] = []
        self.asked: list[Reached] = []
        self.unclean: list[Reached] = []

    def open(self, here: _Front) -> _Front:
        """Gather what lies directly in assemblies of one level; what is opened inside them is returned."""
        structure = self.structure
        takes = (here.root == NO_KIT) & self.uses_kits[here.recipe] & _any_fit(structure, self.conditions, here)
        self.covered.append(CoveredAssemblies(here.recipe, here.assembly, here.count).take(takes))
        start, stop = structure.first[here.assembly], structure.first[here.assembly + 1]
        line, entry = spread(start, stop), np.repeat(np.arange(here.size), stop - start)
        asked = Reached(here.recipe[entry], line)
        self.asked.append(asked)
        applies = self.conditions.apply(line, asked.recipe)
        line, entry = line[applies], entry[applies]
        root = np.where(takes, here.assembly, here.root)
        child, action = structure.child[line], structure.action[line]
        loose = ~structure.bench[child]
        times = multiplied(here.count[entry], structure.quantity[line])
        renew, look, opened = (action == RENEW) & loose, (action == INSPECT) & loose, action == OPEN
        fitted = Reached(asked.recipe[applies], line)
        self.unclean.append(_not_clean(self.conditions, fitted, renew | look))
        at = entry[renew]
        self.needs.append(PartsWanted(here.recipe[at], root[at], child[renew], times[renew]))
        at = entry[look]
        self.looks.append(Looks(here.recipe[at], here.section[at], root[at], line[look], here.count[at]))
        at = entry[opened]
        return _Front(here.recipe[at], here.section[at], root[at], child[opened], times[opened] // ONE)


def limited_by_serial(
    structure: Structure, conditions: Conditions, recipes: Sequence[Recipe], asked: Reached
) -> frozenset[int]:
    """Return the recipes without a serial among those that reach a line which depends on it.

    Parameters
    ----------
    structure : the compiled catalog
    conditions : those that the recipes meet
    recipes : in the order of their numbers
    asked : the lines that they reach
    """
    options_met = conditions.met[asked.recipe, structure.requirement[asked.line]]
    limited = np.unique(asked.recipe[structure.limited_by_serial[asked.line] & options_met])
    unknown = len(structure.serial_marks)
    return frozenset(way for way in limited.tolist() if recipes[way].serial_band[1] > unknown)


def check_answers(
    structure: Structure, recipes: Sequence[Recipe], asked: Reached, jobs: Sequence[Sequence[str]]
) -> None:
    """Refuse recipes that leave an option open which a reached line names, or answer it with an unknown value.

    Parameters
    ----------
    structure : the compiled catalog
    recipes : in the order of their numbers
    asked : the lines that they reach
    jobs : names of the jobs of each recipe

    Raises
    ------
    ShopError
        With every job and place concerned.
    """
    known = structure.memo.wrong_answers
    sets: dict[Options, int] = {}
    answer_set = np.array([sets.setdefault(recipe.answers, len(sets)) for recipe in recipes], np.int64)
    answers = list(sets)
    wide = len(structure.lines)
    place = structure.option_place[asked.line]
    named = np.flatnonzero(place >= 0)
    recipe, place = asked.recipe[named], place[named]
    pairs = answer_set[recipe] * wide + place
    bad = []
    for pair in np.unique(pairs).tolist():
        key = (answers[pair // wide], pair % wide)
        if key not in known:
            known[key] = tuple(_answer_faults(structure, *key))
        if known[key]:
            bad.append(pair)
    if not bad:
        return
    wrong = np.unique((recipe * wide + place)[np.isin(pairs, bad)]).tolist()
    faults = [
        Fault(
            "Schedule",
            (job,),
            "option",
            f"Job {job} ({recipes[pair // wide].pump}, {recipes[pair // wide].scope}): {says}",
        )
        for pair in wrong
        for job in jobs[pair // wide]
        for says in known[recipes[pair // wide].answers, pair % wide]
    ]
    raise ShopError(tuple(dict.fromkeys(faults)))


def _not_clean(conditions: Conditions, fitted: Reached, counts: Bools) -> Reached:
    """The wetted lines that would bring something into clean work that is not of its class."""
    structure, wanted = conditions.structure, conditions.cleanliness[fitted.recipe]
    wrong = counts & structure.wetted[fitted.line] & (wanted > 0)
    return fitted.take(wrong & (structure.item_class[structure.child[fitted.line]] != wanted))


def _refuse_unclean(
    structure: Structure, recipes: Sequence[Recipe], unclean: Reached, jobs: Sequence[Sequence[str]]
) -> None:
    faults = []
    for way, number in zip(unclean.recipe.tolist(), unclean.line.tolist(), strict=True):
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


def _sections(structure: Structure, recipes: Sequence[Recipe]) -> _Front:
    rows = [
        (number, place, NO_KIT, structure.index[row.section], row.how_many * recipe.quantity)
        for number, recipe in enumerate(recipes)
        for place, row in enumerate(structure.scopes.get((recipe.pump, recipe.scope), ()))
    ]
    return _Front.of_rows(rows)


def _any_fit(structure: Structure, conditions: Conditions, here: _Front) -> Bools:
    """Whether any kit fits each assembly."""
    start, stop = structure.fit_first[here.assembly], structure.fit_first[here.assembly + 1]
    fit, entry = spread(start, stop), np.repeat(np.arange(here.size), stop - start)
    found = np.zeros(here.size, bool)
    found[entry[conditions.kits_fit(fit, here.assembly[entry], here.recipe[entry])]] = True
    return found


def group_recipes(structure: Structure, jobs: Sequence[Job], single: frozenset[str]) -> tuple[list[Recipe], Ints]:
    """The distinct recipes of ``jobs`` and the recipe number of each job; jobs named in ``single`` stand alone."""
    numbers: dict[Recipe, int] = {}
    of_job = []
    for place, job in enumerate(jobs):
        recipe = recipe_of(structure, job, place if job.job in single else -1)
        of_job.append(numbers.setdefault(recipe, len(numbers)))
    return list(numbers), np.array(of_job, np.int64)
