"""Where a number comes from: every way down from a job to a part, with the counts that multiply to it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from bom.demand.askers import Asker
from bom.demand.explosion import NO_KIT
from bom.demand.findings import added_to
from bom.demand.kit_cover import inside_one
from bom.plan import Plan
from bom.structure.arrays import INSPECT, OPEN, RENEW, Structure
from bom.supply.bags import fills_a_bag
from bom.supply.matching import NOBODY
from bom.values import ONE

WORDS = {RENEW: "renew", INSPECT: "inspect"}


class Step(NamedTuple):
    """A step of a way down: what is stepped into, and how many of it are in one of the step before."""

    name: str
    how_many: int


@dataclass(frozen=True, slots=True)
class PathRow:
    """One way to a part. ``steps`` run from the pump to the part: name and how many in one of the step before.

    ``quantity`` is the product in millionths. ``kit`` covers this way, or is None. ``at_rebuild`` is renew, inspect,
    finding (added or renewed because of a named finding), kit (kits counted), pack (contents of a kit packed or an
    assembly made here) or need (asked for without a rebuild). ``says`` shows the arithmetic; ``finding``
    names the finding behind a way. ``covered`` is the assembly whose kits, one of each set, serve this way; ``kit`` is
    the last of them.
    """

    part_number: str
    job: str
    section: str
    steps: tuple[Step, ...]
    at_rebuild: str
    quantity: int
    kit: str | None
    says: str
    finding: str | None = None
    covered: str | None = None


def paths(plan: Plan, part_number: str, askers: Collection[int] | None = None) -> tuple[PathRow, ...]:
    """Every way in which the jobs and other needs of a plan ask for one part, by job.

    Parameters
    ----------
    plan : the finished plan
    part_number : part number of an item of the catalog
    askers : the numbers of the jobs and other needs to look at; all of them where it is None

    Raises
    ------
    KeyError
        If the part is not among the items.
    """
    return paths_of(plan, (part_number,), askers)[part_number]


def paths_of(
    plan: Plan, part_numbers: Iterable[str], askers: Collection[int] | None = None
) -> dict[str, tuple[PathRow, ...]]:
    """Do `paths` for many parts: each kind of job is walked once for all of them.

    Parameters
    ----------
    plan : the finished plan
    part_numbers : part numbers of items of the catalog
    askers : the numbers of the jobs and other needs to look at; all of them where it is None

    Raises
    ------
    KeyError
        If one of the parts is not among the items.
    """
    ways = Ways(plan, [plan.demand.structure.index[number] for number in part_numbers])
    asking = plan.demand.askers
    chosen = asking if askers is None else [asking[number] for number in sorted(askers)]
    found: dict[str, list[PathRow]] = {ways.name(target): [] for target in ways.targets}
    of_recipe: dict[int, list[PathRow]] = {}
    for asker in chosen:
        if asker.need and asker.need.part_number in found:
            part, quantity = asker.need.part_number, asker.need.quantity
            says = f"{_amount(quantity)} for {asker.need.for_whom or asker.name}"
            found[part].append(PathRow(part, asker.name, "", (), "need", quantity, None, says))
        if asker.job is None:
            continue
        if asker.recipe not in of_recipe:
            of_recipe[asker.recipe] = [*ways.down(asker), *ways.added(asker), *ways.kit_counts(asker)]
        for row in of_recipe[asker.recipe]:
            found[row.part_number].append(row if row.job == asker.name else replace(row, job=asker.name))
    names = None if askers is None else {asker.name for asker in chosen}
    for row in ways.passed_down():
        if names is None or row.job in names:
            found[row.part_number].append(row)
    return {number: tuple(sorted(rows, key=lambda row: row.job)) for number, rows in found.items()}


def arithmetic(steps: Sequence[tuple[str, int]], last: int) -> str:
    """The product of a way down, last step first.

    >>> arithmetic((("pump", 1), ("E34", 2), ("CK-M", 2)), ONE)
    '1 per CK-M × 2 CK-M per E34 × 2 E34 × 1 pump = 4'

    Parameters
    ----------
    steps : what is opened on the way, with how many
    last : millionths that the last of them holds
    """
    names = [name for name, _ in steps]
    words = [f"{_amount(last)} per {names[-1]}"]
    total = last
    for place in range(len(steps) - 1, -1, -1):
        name, count = steps[place]
        total *= count
        above = names[place - 1] if place > 1 else ""
        plural = "s" if place == 0 and count > 1 else ""
        words.append(f"{count} {name}{plural}" + (f" per {above}" if above else ""))
    return f"{' × '.join(words)} = {_amount(total)}"


def ancestors(structure: Structure, targets: Collection[int]) -> frozenset[int]:
    """Everything from which one of the ``targets`` can be reached through lines.

    Parameters
    ----------
    structure : the compiled catalog
    targets : numbers of items
    """
    found: set[int] = set()
    front = np.fromiter(targets, np.int64)
    while front.size:
        above = np.unique(structure.parent[np.isin(structure.child, front)])
        front = np.array([item for item in above.tolist() if item not in found], np.int64)
        found.update(front.tolist())
    return frozenset(found)


@dataclass(frozen=True, slots=True)
class _Spot:
    """An opened assembly on the way down: its steps from the pump, and how many of it there are in the job.

    ``root`` is the assembly on the way whose kits serve all that is inside, or `NO_KIT`.
    """

    item: int
    steps: tuple[Step, ...]
    root: int
    count: int


class Ways:
    """The ways down to some items of a plan."""

    def __init__(self, plan: Plan, targets: Iterable[int]) -> None:
        self.plan, self.targets = plan, dict.fromkeys(targets)
        self.structure = plan.demand.structure
        self.towards = ancestors(self.structure, self.targets)
        kits = plan.demand.requirements.kits
        self._by_recipe = np.argsort(kits.recipe, kind="stable")
        self._recipes = kits.recipe[self._by_recipe]

    def name(self, item: int) -> str:
        """The part number of an item.

        Parameters
        ----------
        item : its number
        """
        return self.structure.items[item].part_number

    def sure(self, asker: Asker) -> list[PathRow]:
        """The ways in which a job is sure to ask for them before anybody has looked: renewed, or added by a finding.

        Parameters
        ----------
        asker : the job
        """
        renewed = [row for row in self.down(asker) if row.at_rebuild == WORDS[RENEW]]
        return [*renewed, *self.added(asker)]

    def down(self, asker: Asker) -> Iterator[PathRow]:
        """The ways through the assemblies that a job opens.

        Parameters
        ----------
        asker : the job
        """
        kits, covered = self._kits(asker.recipe), self.plan.demand.explosion.covered_in(asker.recipe)
        stack = list(self._sections(asker))
        while stack:
            spot = stack.pop()
            if spot.root == NO_KIT and spot.item in covered:
                spot = replace(spot, root=spot.item)
            for line in self._lines_towards(spot.item):
                if not self.plan.demand.conditions.meets(line, asker.recipe):
                    continue
                child, action = int(self.structure.child[line]), int(self.structure.action[line])
                if action == OPEN and child in self.towards:
                    stack.append(self._inside(spot, line))
                elif action in WORDS and child in self.targets:
                    yield self._at(spot, line, asker, kits)

    def _sections(self, asker: Asker) -> Iterator[_Spot]:
        """What the scope of a job opens, the last section on top."""
        recipe = self.plan.demand.explosion.recipes[asker.recipe]
        for row in reversed(self.structure.scopes.get((recipe.pump, recipe.scope), ())):
            section = self.structure.index[row.section]
            if section in self.towards:
                steps = (Step("pump", recipe.quantity), Step(row.section, row.how_many))
                yield _Spot(section, steps, NO_KIT, recipe.quantity * row.how_many)

    def _lines_towards(self, item: int) -> Iterator[int]:
        """The lines of an assembly that lead to the items, or hold one."""
        for line in self.structure.lines_of(item):
            child = int(self.structure.child[line])
            if child in self.targets or child in self.towards:
                yield line

    def _inside(self, spot: _Spot, line: int) -> _Spot:
        child, held = int(self.structure.child[line]), int(self.structure.quantity[line]) // ONE
        step = Step(self.structure.items[child].part_number, held)
        return _Spot(child, (*spot.steps, step), spot.root, spot.count * held)

    def _at(self, spot: _Spot, line: int, asker: Asker, kits: dict[int, str]) -> PathRow:
        """The way that ends at this line."""
        action, quantity = int(self.structure.action[line]), int(self.structure.quantity[line])
        part = int(self.structure.child[line])
        reason = self._reason(asker, spot.steps, part) if action == INSPECT else None
        _, section, *_ = spot.steps
        return PathRow(
            part_number=self.name(part),
            job=asker.name,
            section=section.name,
            steps=spot.steps,
            at_rebuild=WORDS[action] if reason is None else "finding",
            quantity=spot.count * quantity,
            kit=kits.get(spot.root),
            says=arithmetic(spot.steps, quantity) + _because(reason),
            finding=reason,
            covered=self.structure.items[spot.root].part_number if spot.root in kits else None,
        )

    def _reason(self, asker: Asker, steps: tuple[Step, ...], part: int) -> str | None:
        """The named finding that renews an inspected part at the end of these steps."""
        named, index = self.plan.demand.named.get(asker.name), self.structure.index
        return named.reason(tuple(index[step.name] for step in steps[1:]), part) if named else None

    def added(self, asker: Asker) -> Iterator[PathRow]:
        """What named findings of a job add of them.

        Parameters
        ----------
        asker : the job
        """
        named, items = self.plan.demand.named.get(asker.name), self.structure.items
        kits, recipe = self._kits(asker.recipe), self.plan.demand.explosion.recipes[asker.recipe]
        for opened, meaning in named.added if named else ():
            if meaning.part not in self.targets:
                continue
            names = (items[item].part_number for item in opened.inside)
            section, *inside = map(Step, names, opened.held)
            steps = (Step("pump", recipe.quantity), section, *inside)
            kit = kits.get(opened.root)
            yield PathRow(
                part_number=self.name(meaning.part),
                job=asker.name,
                section=section.name,
                steps=steps,
                at_rebuild="finding",
                quantity=added_to(opened, meaning),
                kit=kit,
                says=arithmetic(steps, meaning.rule.quantity) + _because(meaning.rule.finding),
                finding=meaning.rule.finding,
                covered=items[opened.root].part_number if kit else None,
            )

    def kit_counts(self, asker: Asker) -> Iterator[PathRow]:
        """How many of them a job takes, where they are kits.

        Parameters
        ----------
        asker : the job
        """
        kits, items = self.plan.demand.requirements.kits, self.structure.items
        for row in self._kit_rows(asker.recipe):
            if (kit := int(kits.kit[row])) in self.targets:
                count, fits = int(kits.count[row]), items[kits.assembly[row]].part_number
                step, says = Step(fits, count), f"{count} for {fits}"
                yield PathRow(self.name(kit), asker.name, fits, (step,), "kit", count * ONE, None, says)

    def passed_down(self) -> Iterator[PathRow]:
        """What packing kits and making assemblies asks of them."""
        plan, pieces = self.plan, self.plan.netting.pieces
        for piece in np.flatnonzero(np.isin(pieces.item, list(self.targets)) & (pieces.way >= 0)).tolist():
            part, kit, total = int(pieces.item[piece]), int(pieces.way[piece]), int(pieces.quantity[piece])
            condition = int(pieces.condition[piece])
            each = inside_one(self.structure, plan.demand.conditions, kit, condition).get(part, 0)
            step = Step(self.structure.items[kit].part_number, total // each if each else 0)
            job = plan.demand.askers[int(pieces.job[piece])].name if pieces.job[piece] != NOBODY else ""
            says = f"{_amount(each)} per {step.name} × {step.how_many} {step.name} to pack = {_amount(total)}"
            if fills_a_bag(pieces, piece):
                says = f"{_amount(total)} that {step.name} from the shelf is without"
            yield PathRow(self.name(part), job, step.name, (step,), "pack", total, step.name, says)

    def _kits(self, recipe: int) -> dict[int, str]:
        """By assembly the kit that serves it, the last one of each set."""
        kits, items = self.plan.demand.requirements.kits, self.structure.items
        return {int(kits.assembly[row]): items[kits.kit[row]].part_number for row in self._kit_rows(recipe)}

    def _kit_rows(self, recipe: int) -> list[int]:
        """The rows of a recipe in the table of kits, in its order."""
        first, last = np.searchsorted(self._recipes, (recipe, recipe + 1))
        rows: list[int] = self._by_recipe[first:last].tolist()
        return rows


def _because(finding: str | None) -> str:
    return "" if finding is None else f", because of finding '{finding}'"


def _amount(millionths: int) -> str:
    return f"{millionths / ONE:g}" if millionths % ONE else str(millionths // ONE)
