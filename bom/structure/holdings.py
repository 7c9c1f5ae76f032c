"""How many of each assembly one pump holds, and totals for a whole pump divided by it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from bom.errors import Fault, ShopError
from bom.structure.keys import fold, line_key
from bom.values import ONE, Catalog, Line, Options


@dataclass(frozen=True, slots=True)
class Held:
    """How many of each assembly one pump holds; ``unsure`` are those on which alternatives do not agree."""

    counts: dict[str, int]
    unsure: frozenset[str]


def instances_held(by_parent: dict[str, list[Line]], pump: str, seen: dict[str, Held] | None = None) -> Held:
    """How many of each assembly one ``pump`` holds, over all its lines, limits ignored; the pump itself counts as 1.

    Lines of one parent at one position that give different values to one option are alternatives and count once; where
    they hold different numbers of an assembly the larger one is given, and the assembly is ``unsure``.

    Parameters
    ----------
    by_parent : the lines of every assembly
    pump : its part number
    seen : what was worked out before, kept by the caller; it is added to
    """
    memo = {} if seen is None else seen
    if pump in memo:
        return memo[pump]
    total: dict[str, int] = defaultdict(int)
    unsure: set[str] = set()
    for group in _by_position(by_parent.get(pump, [])).values():
        choices: dict[Options, dict[str, int]] = {}
        names = _alternative_names(group)
        for line in group:
            if line.child not in by_parent:
                continue
            answer = tuple((name, value) for name, value in line.options if name in names)
            below = instances_held(by_parent, line.child, memo)
            unsure |= below.unsure
            counts = total if not answer else choices.setdefault(answer, defaultdict(int))
            for part, held in below.counts.items():
                counts[part] += held * (line.quantity // ONE)
        for part in sorted({part for counts in choices.values() for part in counts}):
            found = {counts[part] for counts in choices.values() if counts.get(part)}
            if len(found) > 1:
                unsure.add(part)
            total[part] += max(found, default=0)
    total[pump] += 1
    memo[pump] = Held(dict(total), frozenset(unsure))
    return memo[pump]


def for_one_parent(
    catalog: Catalog, lines: tuple[Line, ...], index: dict[str, int], level: Sequence[int]
) -> tuple[Line, ...]:
    """Divide whole-pump totals by the number of parents in that pump, from the top down.

    Parameters
    ----------
    catalog : the lists
    lines : those of the catalog, sorted by parent
    index : item number by part number
    level : low-level code of each item

    Raises
    ------
    ShopError
        With every total that leaves a remainder, or cannot be divided.
    """
    if not any(line.quantity_is_for == "whole_pump" for line in lines):
        return lines
    by_parent: dict[str, list[Line]] = defaultdict(list)
    for line in lines:
        by_parent[line.parent].append(line)
    faults = []
    for parent in sorted(by_parent, key=lambda name: int(level[index[name]])):
        for place, line in enumerate(by_parent[parent]):
            if line.quantity_is_for != "whole_pump" or line.pump is None:
                continue
            held = instances_held(by_parent, line.pump)
            count = held.counts.get(parent, 0)
            if says := _why_not_divided(line, count, parent in held.unsure, catalog.items[index[line.child]].countable):
                faults.append(Fault("Structure", line_key(line), "quantity", says))
            else:
                by_parent[parent][place] = replace(line, quantity=line.quantity // count, quantity_is_for="one_parent")
    if faults:
        raise ShopError(tuple(faults))
    return tuple(line for group in _in_order(by_parent, lines) for line in group)


def _why_not_divided(line: Line, count: int, unsure: bool, countable: bool) -> str:
    """Why a total for the whole pump cannot be divided by the number of its parents; empty where it can."""
    pump, parent = line.pump, line.parent
    if count == 0:
        return f"{pump} does not hold {parent}, so a total for the whole pump says nothing; correct the pump."
    if unsure:
        return (
            f"The alternatives in {pump} hold different numbers of {parent}, so a total for the whole pump cannot be "
            f"divided; give the quantity for one {parent}."
        )
    if line.quantity % count or (countable and line.quantity // count % ONE):
        return (
            f"{line.quantity / ONE:g} {line.child} in the whole {pump} / {count} {parent} = "
            f"{line.quantity / ONE / count:g}, which leaves a remainder; correct the total or give the quantity for "
            f"one {parent}."
        )
    return ""


def _in_order(by_parent: dict[str, list[Line]], lines: tuple[Line, ...]) -> Iterable[list[Line]]:
    return (by_parent[name] for name in dict.fromkeys(line.parent for line in lines))


def _by_position(lines: Iterable[Line]) -> dict[str, list[Line]]:
    groups: dict[str, list[Line]] = defaultdict(list)
    for line in lines:
        groups[fold(line.position)].append(line)
    return groups


def _alternative_names(lines: Sequence[Line]) -> frozenset[str]:
    values: dict[str, set[str]] = defaultdict(set)
    for line in lines:
        for name, value in line.options:
            values[name].add(value)
    return frozenset(name for name, known in values.items() if len(known) > 1)
