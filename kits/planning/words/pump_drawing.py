"""A pump drawn as its sections: what holds what, how many, and which of them a job opens."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import count

from bom.reading import Lists
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
    lists: Lists, pump: str, pumps: int = 1, opened: Mapping[str, int] | None = None
) -> tuple[DrawnSection, ...]:
    """The sections of ``pumps`` pumps, with balloons numbered from the top; ``opened`` counts by assembly."""
    return tuple(below(lists, pump, pumps, opened or {}, count(1)))


def below(
    lists: Lists, assembly: str, held: int, opened: Mapping[str, int], balloons: Iterator[int]
) -> Iterator[DrawnSection]:
    """The sections inside one; lines of the same assembly are drawn once with their sum."""
    inside: dict[str, int] = {}
    for line in lists.inside(assembly):
        if line.line.at_rebuild == "open":
            inside[line.child] = inside.get(line.child, 0) + held * line.quantity // ONE
    for child, times in inside.items():
        number = next(balloons)
        yield DrawnSection(
            number=number,
            part_number=child,
            held=times,
            opened=min(times, opened.get(child, 0)),
            inside=tuple(below(lists, child, times, opened, balloons)),
        )
