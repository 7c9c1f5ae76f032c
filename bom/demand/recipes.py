"""Recipes: the distinct ways in which pumps are rebuilt, the lines that apply to each, and what it leaves unsaid."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from bom.errors import Fault, ShopError
from bom.structure.arrays import CLEANLINESS, NO_MARK, SerialBand, Structure, day_number
from bom.structure.keys import fold
from bom.structure.tables import Bools, Ints, Table, freeze
from bom.values import Job, Options


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
    serial_band: SerialBand
    quantity: int
    use_kits: bool
    cleanliness: int = 0
    single: int = -1


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
        """The row that meets every option, and the date limits of ``day``.

        Parameters
        ----------
        day : day number
        """
        return self.recipes + self.structure.date_band(day)

    def on_days(self, days: Ints) -> Ints:
        """Do `on_day` for many days.

        Parameters
        ----------
        days : day numbers
        """
        return np.searchsorted(self.structure.date_marks, days, side="right") + self.recipes

    def apply(self, line: Ints, recipe: Ints) -> Bools:
        """Whether each line (numbers) applies to its recipe (numbers), element by element.

        Parameters
        ----------
        line : line numbers
        recipe : rows of the conditions, element by element
        """
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
        """Whether one line applies to one recipe.

        Parameters
        ----------
        line : its number in the structure
        recipe : row of the conditions
        """
        s, day = self.structure, self.date_day[recipe]
        return not s.conditional[line] or bool(
            self.met[recipe, s.requirement[line]]
            and s.from_day[line] <= day <= s.to_day[line]
            and s.from_mark[line] < self.serial_right[recipe]
            and self.serial_left[recipe] <= s.to_mark[line]
        )


def answers_of(structure: Structure, job: Job) -> Options:
    """The answers that hold for a job: its own, else the scope's, else the pump's default.

    Parameters
    ----------
    structure : the compiled catalog
    job : as it is scheduled
    """
    answers = dict(structure.items[structure.index[job.pump]].default_options)
    for row in structure.scopes.get((job.pump, job.scope), ()):
        answers.update(row.options)
    answers.update(job.options)
    return tuple(sorted(answers.items()))


def recipe_of(structure: Structure, job: Job, single: int = -1) -> Recipe:
    """The way in which ``job`` is rebuilt.

    Parameters
    ----------
    structure : the compiled catalog
    job : as it is scheduled
    single : number of the job when it has a history of its own, else -1
    """
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
    """Work out once which sets of options each recipe meets.

    Parameters
    ----------
    structure : the compiled catalog
    recipes : in the order of their numbers
    """
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
        serial_right=np.array([band.right for band in bands] + [NO_MARK] * len(free_days), np.int64),
        serial_left=np.array([band.left for band in bands] + [0] * len(free_days), np.int64),
        cleanliness=np.array([recipe.cleanliness for recipe in recipes], np.int64),
        recipes=len(recipes),
    )


def group_recipes(structure: Structure, jobs: Sequence[Job], single: frozenset[str]) -> tuple[list[Recipe], Ints]:
    """The distinct recipes of ``jobs`` and the recipe number of each job; jobs named in ``single`` stand alone.

    Parameters
    ----------
    structure : the compiled catalog
    jobs : those that ask for parts
    single : names of the jobs that stand alone
    """
    numbers: dict[Recipe, int] = {}
    of_job = []
    for place, job in enumerate(jobs):
        recipe = recipe_of(structure, job, place if job.job in single else -1)
        of_job.append(numbers.setdefault(recipe, len(numbers)))
    return list(numbers), np.array(of_job, np.int64)


@dataclass(frozen=True)
class Reached(Table):
    """Lines that recipes reach, whether they apply or not."""

    recipe: Ints
    line: Ints


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
    return frozenset(way for way in limited.tolist() if recipes[way].serial_band.left > unknown)


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
