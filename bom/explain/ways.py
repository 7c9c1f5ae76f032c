"""Where a number comes from: every way down from a job to a part, with the counts that multiply to it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace

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

Step = tuple[str, int]
WORDS = {RENEW: "renew", INSPECT: "inspect"}


@dataclass(frozen=True, slots=True)
class PathRow:
    """One way to a part. ``steps`` run from the pump to the part: name and how many in one of the step before.

    ``quantity`` is the product in millionths. ``kit`` covers this way, or is None. ``at_rebuild`` is renew, inspect,
    finding (added or renewed because of a named finding), kit (kits counted), pack (contents of a kit packed or an
    assembly made here) or need (asked for without a rebuild). ``says`` shows the arithmetic; ``finding``
    names the finding behind a way. ``covered`` is the assembly whose kits, one of each set, serve this way; ``kit`` is
    the last of them.
    """

    job: str
    section: str
    steps: tuple[Step, ...]
    at_rebuild: str
    quantity: int
    kit: str | None
    says: str
    finding: str | None = None
    covered: str | None = None


def paths(plan: Plan, part_number: str) -> tuple[PathRow, ...]:
    """Every way in which the jobs and other needs of a plan ask for one part, by job.

    Parameters
    ----------
    plan : the finished plan
    part_number : part number of an item of the catalog

    Raises
    ------
    KeyError
        If the part is not among the items.
    """
    return paths_of(plan, (part_number,))[part_number]


def paths_of(plan: Plan, part_numbers: Iterable[str]) -> dict[str, tuple[PathRow, ...]]:
    """Do `paths` for many parts: each kind of job is walked once for all of them.

    Parameters
    ----------
    plan : the finished plan
    part_numbers : of items of the catalog

    Raises
    ------
    KeyError
        If one of the parts is not among the items.
    """
    structure = plan.demand.structure
    targets = {structure.index[number]: number for number in part_numbers}
    towards = ancestors(structure, targets)
    found: dict[str, list[PathRow]] = {number: [] for number in targets.values()}
    of_recipe: dict[int, list[tuple[str, PathRow]]] = {}
    for asker in plan.demand.askers:
        if asker.need and asker.need.part_number in found:
            says = f"{_amount(asker.need.quantity)} for {asker.need.for_whom or asker.name}"
            row = PathRow(asker.name, "", (), "need", asker.need.quantity, None, says)
            found[asker.need.part_number].append(row)
        if asker.job is None:
            continue
        if asker.recipe not in of_recipe:
            of_recipe[asker.recipe] = [
                (targets[target], row)
                for rows in (
                    _walk(plan, asker, targets, towards),
                    _added(plan, asker, targets),
                    _kit_counts(plan, asker, targets),
                )
                for target, row in rows
            ]
        for number, row in of_recipe[asker.recipe]:
            found[number].append(row if row.job == asker.name else replace(row, job=asker.name))
    for target, number in targets.items():
        found[number] += _passed_down(plan, target)
    return {number: tuple(sorted(rows, key=lambda row: row.job)) for number, rows in found.items()}


def arithmetic(steps: tuple[Step, ...], last: int) -> str:
    """The product of a way down, last step first.

    >>> arithmetic((("pump", 1), ("E34", 2), ("CK-M", 2)), ONE)
    '1 per CK-M × 2 CK-M per E34 × 2 E34 × 1 pump = 4'

    Parameters
    ----------
    steps : what is opened on the way, with how many
    last : millionths that the last of them holds
    """
    words = [f"{_amount(last)} per {steps[-1][0]}"]
    total = last
    for place in range(len(steps) - 1, -1, -1):
        name, count = steps[place]
        total *= count
        above = steps[place - 1][0] if place > 1 else ""
        plural = "s" if place == 0 and count > 1 else ""
        words.append(f"{count} {name}{plural}" + (f" per {above}" if above else ""))
    return f"{' × '.join(words)} = {_amount(total)}"


def sure_ways(plan: Plan, asker: Asker, target: int, towards: frozenset[int]) -> list[PathRow]:
    """The ways in which one job is sure to ask for a part before anybody has looked: renewed, or added by a finding.

    Parameters
    ----------
    plan : the finished plan
    asker : a job or other need of the plan
    target : number of the part
    towards : the assemblies that hold the part, however deep
    """
    renewed = [row for _, row in _walk(plan, asker, (target,), towards) if row.at_rebuild == WORDS[RENEW]]
    return [*renewed, *(row for _, row in _added(plan, asker, (target,)))]


def ancestors(structure: Structure, targets: Iterable[int]) -> frozenset[int]:
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


def _walk(plan: Plan, asker: Asker, targets: Collection[int], towards: frozenset[int]) -> Iterator[tuple[int, PathRow]]:
    structure, recipe = plan.demand.structure, plan.demand.explosion.recipes[asker.recipe]
    covered = plan.demand.explosion.covered_in(asker.recipe)
    kits = _kits_by_assembly(plan, asker.recipe)
    stack: list[tuple[int, tuple[Step, ...], int, int]] = []
    for row in reversed(structure.scopes.get((recipe.pump, recipe.scope), ())):
        section = structure.index[row.section]
        if section in towards:
            stack.append(
                (
                    section,
                    (("pump", recipe.quantity), (row.section, row.how_many)),
                    NO_KIT,
                    recipe.quantity * row.how_many,
                )
            )
    while stack:
        item, steps, root, count = stack.pop()
        root = item if root == NO_KIT and item in covered else root
        for line in structure.lines_of(item):
            child, action = int(structure.child[line]), int(structure.action[line])
            if not plan.demand.conditions.meets(line, asker.recipe):
                continue
            quantity = int(structure.quantity[line])
            if action == OPEN and child in towards:
                name = structure.items[child].part_number
                stack.append((child, (*steps, (name, quantity // ONE)), root, count * (quantity // ONE)))
            elif action in WORDS and child in targets:
                reason = _reason(plan, asker, steps, child) if action == INSPECT else None
                way = PathRow(
                    asker.name,
                    steps[1][0],
                    steps,
                    WORDS[action] if reason is None else "finding",
                    count * quantity,
                    kits.get(root),
                    arithmetic(steps, quantity) + _because(reason),
                    reason,
                    structure.items[root].part_number if root in kits else None,
                )
                yield child, way


def _reason(plan: Plan, asker: Asker, steps: tuple[Step, ...], target: int) -> str | None:
    """The named finding that renews an inspected part at the end of these steps."""
    named = plan.demand.named.get(asker.name)
    index = plan.demand.structure.index
    return named.reason(tuple(index[name] for name, _ in steps[1:]), target) if named else None


def _because(finding: str | None) -> str:
    return "" if finding is None else f", because of finding '{finding}'"


def _added(plan: Plan, asker: Asker, targets: Collection[int]) -> Iterator[tuple[int, PathRow]]:
    """What named findings add of the parts."""
    structure, named = plan.demand.structure, plan.demand.named.get(asker.name)
    kits, recipe = _kits_by_assembly(plan, asker.recipe), plan.demand.explosion.recipes[asker.recipe]
    for opened, meaning in named.added if named else ():
        if meaning.part is not None and meaning.part in targets:
            names = (structure.items[item].part_number for item in opened.inside)
            steps = (("pump", recipe.quantity), *zip(names, opened.held, strict=True))
            says = arithmetic(steps, meaning.rule.quantity) + _because(meaning.rule.finding)
            total, kit = added_to(opened, meaning), kits.get(opened.root)
            covered = structure.items[opened.root].part_number if kit else None
            finding, section = meaning.rule.finding, steps[1][0]
            row = PathRow(asker.name, section, steps, "finding", total, kit, says, finding, covered)
            yield meaning.part, row


def _kits_by_assembly(plan: Plan, recipe: int) -> dict[int, str]:
    kits, items = plan.demand.requirements.kits, plan.demand.structure.items
    rows = np.flatnonzero(kits.recipe == recipe).tolist()
    return {int(kits.assembly[row]): items[kits.kit[row]].part_number for row in rows}


def _kit_counts(plan: Plan, asker: Asker, targets: Collection[int]) -> Iterator[tuple[int, PathRow]]:
    kits, items = plan.demand.requirements.kits, plan.demand.structure.items
    for row in np.flatnonzero(kits.recipe == asker.recipe).tolist():
        kit = int(kits.kit[row])
        if kit in targets:
            count, fits = int(kits.count[row]), items[kits.assembly[row]].part_number
            says = f"{count} for {fits}"
            yield kit, PathRow(asker.name, fits, ((fits, count),), "kit", count * ONE, None, says)


def _passed_down(plan: Plan, target: int) -> Iterator[PathRow]:
    """What packing kits and making assemblies asks of the part."""
    structure, pieces = plan.demand.structure, plan.netting.pieces
    for piece in np.flatnonzero((pieces.item == target) & (pieces.way >= 0)).tolist():
        kit = int(pieces.way[piece])
        each = inside_one(structure, plan.demand.conditions, kit, int(pieces.condition[piece])).get(target, 0)
        total = int(pieces.quantity[piece])
        name, count = structure.items[kit].part_number, total // each if each else 0
        job = plan.demand.askers[int(pieces.job[piece])].name if pieces.job[piece] != NOBODY else ""
        says = f"{_amount(each)} per {name} × {count} {name} to pack = {_amount(total)}"
        if fills_a_bag(pieces, piece):
            says = f"{_amount(total)} that {name} from the shelf is without"
        yield PathRow(job, name, ((name, count),), "pack", total, name, says)


def _amount(millionths: int) -> str:
    return f"{millionths / ONE:g}" if millionths % ONE else str(millionths // ONE)
