"""A pump drawn as its sections: what holds what, how many, and which of them a job opens."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import count

from bom.structure.arrays import Structure
from bom.values import ONE


@dataclass(frozen=True, slots=True)
class DrawnSection:
    """One section with its balloon ``number``: ``held`` of it are in the pumps, ``opened`` of them are opened."""

    number: int
    part_number: str
    held: int
    opened: int
    inside: tuple[DrawnSection, ...]


def drawn_sections(
    structure: Structure, pump: str, pumps: int = 1, opened: Mapping[int, int] | None = None
) -> tuple[DrawnSection, ...]:
    """The sections of ``pumps`` pumps, with balloons numbered from the top; ``opened`` counts by item number."""
    return tuple(below(structure, structure.index[pump], pumps, opened or {}, count(1)))


def below(
    structure: Structure, item: int, held: int, opened: Mapping[int, int], balloons: Iterator[int]
) -> Iterator[DrawnSection]:
    """The sections inside one; lines of the same assembly are drawn once with their sum."""
    inside: dict[int, int] = {}
    for line in structure.lines_of(item):
        if structure.lines[line].at_rebuild == "open":
            child = int(structure.child[line])
            inside[child] = inside.get(child, 0) + held * int(structure.quantity[line]) // ONE
    for child, times in inside.items():
        number = next(balloons)
        yield DrawnSection(
            number=number,
            part_number=structure.items[child].part_number,
            held=times,
            opened=min(times, opened.get(child, 0)),
            inside=tuple(below(structure, child, times, opened, balloons)),
        )
