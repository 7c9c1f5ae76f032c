"""An assembly that one list renews as a whole and a scope opens: what opening it would ask for instead."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from bom.structure.arrays import INSPECT, OPEN, RENEW, Structure
from bom.values import ONE


@dataclass(frozen=True, slots=True)
class Opening:
    """A scope that opens an assembly, and what one of it asks for then, in millionths by part.

    ``varies`` says that options, days or serials decide about some of its lines; these are not among the numbers.
    """

    pump: str
    scope: str
    renewed: dict[str, int]
    looked_at: dict[str, int]
    varies: bool


def opening_of(structure: Structure, assembly: str) -> Opening | None:
    """The first scope that opens this assembly, or None where none does.

    Parameters
    ----------
    structure : the compiled catalog
    assembly : its part number
    """
    number = structure.index[assembly]
    for (pump, scope), rows in structure.scopes.items():
        if any(number in _opened_with(structure, structure.index[row.section]) for row in rows):
            renewed: dict[str, int] = defaultdict(int)
            looked_at: dict[str, int] = defaultdict(int)
            lines = list(_lines_inside(structure, number, 1))
            for line, count in lines:
                child, action = int(structure.child[line]), structure.action[line]
                if not structure.conditional[line] and not structure.bench[child] and action in (RENEW, INSPECT):
                    into = renewed if action == RENEW else looked_at
                    into[structure.items[child].part_number] += int(structure.quantity[line]) * count
            varies = any(structure.conditional[line] for line, _ in lines)
            return Opening(pump, scope, dict(renewed), dict(looked_at), varies)
    return None


def _opened_with(structure: Structure, section: int) -> Iterator[int]:
    seen, stack = {section}, [section]
    while stack:
        item = stack.pop()
        yield item
        for line in structure.lines_of(item):
            child = int(structure.child[line])
            if structure.action[line] == OPEN and child not in seen:
                seen.add(child)
                stack.append(child)


def _lines_inside(structure: Structure, item: int, count: int) -> Iterator[tuple[int, int]]:
    """Every line of an assembly and of what is opened in it, with how many of its parent there are."""
    for line in structure.lines_of(item):
        yield line, count
        if structure.action[line] == OPEN:
            held = int(structure.quantity[line]) // ONE
            yield from _lines_inside(structure, int(structure.child[line]), count * held)
