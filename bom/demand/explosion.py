"""From jobs to what they need: walk down from the opened sections, once per distinct way a pump can be rebuilt.

The product of the quantities along each way down is the number of instances; totals over all ways equal the Gozinto
theorem x = (I - Q)^-1 d (A. Vazsonyi, Scientific Programming in Business and Industry, 1958).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bom.demand.recipes import Conditions, Reached, Recipe, check_answers, limited_by_serial
from bom.errors import Fault, ShopError
from bom.structure.arrays import CLEANLINESS, INSPECT, OPEN, RENEW, Structure
from bom.structure.tables import Bools, Ints, Table, multiplied, spread
from bom.values import ONE

NO_KIT = -1


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
class Explosion:
    """What the recipes reach. ``jobs`` names the jobs of each recipe.

    ``looks`` is inspected. ``serial_needed`` are the recipes that reach a line which depends on a serial nobody stated.
    """

    recipes: tuple[Recipe, ...]
    jobs: tuple[tuple[str, ...], ...]
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


def explode(
    structure: Structure, conditions: Conditions, recipes: Sequence[Recipe], jobs: Sequence[Sequence[str]]
) -> tuple[Explosion, PartsWanted]:
    """Walk down level by level from the sections of every recipe's scope; ``jobs`` names the jobs of each recipe.

    Parameters
    ----------
    structure : the compiled catalog
    conditions : those that each recipe meets
    recipes : in the order of their numbers
    jobs : names of the jobs of each recipe

    Returns
    -------
    what the recipes reach, and what of it is renewed

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
    renewed = PartsWanted.together(walk.needs).summed()
    explosion = Explosion(
        recipes=tuple(recipes),
        jobs=tuple(tuple(names) for names in jobs),
        looks=Looks.together(walk.looks),
        covered=CoveredAssemblies.together(walk.covered).summed(),
        serial_needed=limited_by_serial(structure, conditions, recipes, asked),
    )
    return explosion, renewed


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
