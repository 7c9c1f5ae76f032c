"""The inspected positions of one job, one by one, named as the strip report prints them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache

from bom.demand.explosion import NO_KIT
from bom.demand.recipes import Conditions, Recipe
from bom.errors import Fault
from bom.structure.arrays import INSPECT, OPEN, Structure
from bom.structure.keys import fold
from bom.values import ONE, Job

MOST_PLACES = 100_000
"""So many places of one job can be named one by one; a shop looks at some hundreds."""


@dataclass(frozen=True, slots=True)
class Position:
    """One place that is looked at: ``where`` names it, ``line`` is its structure line, ``quantity`` in millionths.

    ``root`` is the assembly that a kit covers, or -1. ``group`` is what stands or falls together with it, or None.
    ``pump`` counts the pumps of the job from 1. ``inside`` are the opened assemblies around it, the section first.
    """

    where: str
    line: int
    quantity: int
    root: int
    group: tuple[object, ...] | None
    pump: int
    inside: tuple[int, ...] = ()


@lru_cache(maxsize=1 << 16)
def fold_where(where: str) -> str:
    """Compare places without case or spacing.

    Parameters
    ----------
    where : the place as a strip report writes it
    """
    return "/".join(fold(step) for step in where.split("/"))


def positions_of(
    structure: Structure, conditions: Conditions, number: int, recipe: Recipe, covered: frozenset[int]
) -> list[Position]:
    """Every inspected position of a job that is rebuilt by ``recipe`` (row ``number`` of ``conditions``).

    ``covered`` are the assemblies that a kit covers in this recipe.

    Parameters
    ----------
    structure : the compiled catalog
    conditions : those that each recipe meets
    number : row of the conditions
    recipe : the way in which the job is rebuilt
    covered : the assemblies that a kit covers in this recipe
    """
    found: list[Position] = []
    for pump in range(1, recipe.quantity + 1):
        running: Counter[str] = Counter()
        for place, row in enumerate(structure.scopes.get((recipe.pump, recipe.scope), ())):
            for _ in range(row.how_many):
                running[row.section] += 1
                steps = (f"pump {pump}", f"{row.section} {running[row.section]}")
                section = (pump, place, running[row.section])
                item = structure.index[row.section]
                found += _below(structure, conditions, number, (item,), steps, section, NO_KIT, covered)
    return found


def crowded_jobs(structure: Structure, jobs: Iterable[Job]) -> Iterator[Fault]:
    """Jobs with more places than can be named one by one, which no strip report has: a quantity is wrong.

    A place is an inspected position, or an assembly that is opened and has none inside; they are counted as if every
    option were fitted and no kit covered any.

    Parameters
    ----------
    structure : the compiled catalog
    jobs : those that may be stripped, each for a scope of its pump
    """
    known: dict[int, int] = {}

    def count(item: int) -> int:
        if item not in known:
            known[item] = sum(map(in_line, structure.lines_of(item))) or 1
        return known[item]

    def in_line(line: int) -> int:
        child, pieces = int(structure.child[line]), structure.lines[line].quantity // ONE
        if structure.action[line] == OPEN:
            return pieces * count(child)
        if structure.action[line] != INSPECT or structure.bench[child]:
            return 0
        return pieces if structure.countable[child] else 1

    for job in jobs:
        rows = structure.scopes.get((job.pump, job.scope), ())
        places = job.quantity * sum(row.how_many * count(structure.index[row.section]) for row in rows)
        if places > MOST_PLACES:
            says = (
                f"Job {job.job} has {places} places to open or look at, more than the {MOST_PLACES} that can be "
                f"named; correct the quantities below {job.pump} in Structure, or the pumps of the job."
            )
            yield Fault("Schedule", (job.job,), "quantity", says)


def _below(
    structure: Structure,
    conditions: Conditions,
    number: int,
    inside: tuple[int, ...],
    steps: tuple[str, ...],
    section: tuple[int, int, int],
    root: int,
    covered: frozenset[int],
) -> Iterator[Position]:
    item = inside[-1]
    if root == NO_KIT and item in covered:
        root = item
    running: Counter[str] = Counter()
    for line in structure.lines_of(item):
        entry = structure.lines[line]
        if not conditions.meets(line, number):
            continue
        action = structure.action[line]
        if action == OPEN:
            for _ in range(entry.quantity // ONE):
                running[entry.child] += 1
                below = (*steps, f"{entry.child} {running[entry.child]}")
                child = int(structure.child[line])
                yield from _below(structure, conditions, number, (*inside, child), below, section, root, covered)
        elif action == INSPECT and not structure.bench[structure.child[line]]:
            yield from _pieces(structure, line, inside, steps, section, root)


def _pieces(
    structure: Structure,
    line: int,
    inside: tuple[int, ...],
    steps: tuple[str, ...],
    section: tuple[int, int, int],
    root: int,
) -> Iterator[Position]:
    entry = structure.lines[line]
    name = entry.position or entry.child
    over = {"assembly": (section, steps), "section": (section,), "pump": (section[0],)}[entry.renew_together_over]
    label = fold(entry.renew_together)
    group = (label, entry.renew_together_over, *over) if label else None
    pieces = entry.quantity // ONE if structure.countable[structure.child[line]] else 1
    for piece in range(1, pieces + 1):
        last = f"{name} {piece}" if pieces > 1 else name
        quantity = ONE if structure.countable[structure.child[line]] else entry.quantity
        yield Position(" / ".join((*steps, last)), line, quantity, root, group, section[0], inside)
