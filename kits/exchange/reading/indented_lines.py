"""Indented lists read: how deep each line stands, and what it says, in the shapes in which such lists are written.

=========  ======================================================================
signs      dots, spaces or dashes before the part number: ``. . SE-1``
level      the depth as a number in a column of its own: ``2`` or ``..2``
outline    outline numbers in a column of their own: ``1.2.3``
columns    the part number stands further right the deeper it is
=========  ======================================================================
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from kits.exchange.reading.raw_sheets import is_blank
from kits.exchange.sheets.layouts import STRUCTURE, fold_heading, headings_of

SIGNS, LEVEL, OUTLINE, COLUMNS = SHAPES = ("signs", "level", "outline", "columns")

SAYS = {
    SIGNS: "dots, spaces or dashes before the part number",
    LEVEL: "a column with the depth as a number",
    OUTLINE: "a column with outline numbers such as 1.2.3",
    COLUMNS: "part numbers further right the deeper they are",
}

_LEVELS = frozenset({"level", "lvl", "depth", "indent", "bomlevel", "structurelevel"})
_OUTLINES = frozenset({"item", "itemno", "itemnumber", "outline", "no", "nr"})
_PARTS = frozenset({"number", "part", "partno", "partnumber", "child", "component"})
_PREFIX = re.compile("(?:[\\s.·•>|*\u00a0]|[-–—+](?=[\\s\\-–—+]))*")
_DEPTH = re.compile(r"[.\s]*(\d{1,2})")
_NUMBERED = re.compile(r"\d{1,3}(?:\.\d{1,3})*\.?")
_DEEPEST = 15


@dataclass(slots=True)
class IndentedLine:
    """One line: its row, how far it is indented, its outline number if it has one, part number and other cells."""

    row: int
    indent: int
    part_number: str
    cells: dict[str, str] = field(default_factory=dict)
    outline: str = ""


@dataclass(frozen=True, slots=True)
class IndentedList:
    """The lines of a list, the shape in which it was read, and whether it had headings."""

    lines: list[IndentedLine]
    shape: str
    has_headings: bool


def read_indented(rows: Sequence[Sequence[str]], shape: str = "") -> IndentedList:
    """Read the rows of an indented list; without ``shape`` it is found out."""
    headings = [fold_heading(cell) for cell in rows[0]]
    has_headings = sum(heading in headings_of(STRUCTURE) or heading in _LEVELS | _PARTS for heading in headings) >= 2
    body = [
        (number, row)
        for number, row in enumerate(rows, start=1 if has_headings else 2)
        if any(not is_blank(cell) for cell in row)
    ][1 if has_headings else 0 :]
    places = _places(headings) if has_headings else {}
    shape = shape or _find_shape(headings if has_headings else [], [row for _, row in body])
    reader = _READERS[shape]
    return IndentedList([reader(number, row, places) for number, row in body], shape, has_headings)


def _places(headings: Sequence[str]) -> dict[str, int]:
    """Where which column stands; ``level``, ``outline`` and ``child`` lead the way."""
    places: dict[str, int] = {}
    known = headings_of(STRUCTURE)
    for place, heading in enumerate(headings):
        if heading in _LEVELS:
            places.setdefault("level", place)
        elif heading in _PARTS:
            places.setdefault("child", place)
        elif heading in _OUTLINES:
            places.setdefault("outline", place)
        elif heading in known and known[heading].name not in ("parent", "child"):
            places.setdefault(known[heading].name, place)
    return places


def _find_shape(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    if _LEVELS & set(headings):
        return LEVEL
    if headings and _OUTLINES & set(headings):
        return OUTLINE
    if headings and _PARTS & set(headings) - {""} and not any(is_blank(_at(row, 0)) for row in rows):
        return SIGNS
    firsts = [_at(row, 0).strip() for row in rows]
    follows = all(not is_blank(_at(row, 1)) for row in rows)
    if follows and any("." in first for first in firsts) and all(map(_NUMBERED.fullmatch, firsts)):
        return OUTLINE
    depths = [int(found[1]) for first in firsts if (found := _DEPTH.fullmatch(first))]
    steps = all(after - before <= 1 for before, after in itertools.pairwise(depths))
    three = any(not is_blank(_at(row, 2)) for row in rows)
    if follows and three and len(depths) == len(firsts) and depths[0] <= 1 and steps and max(depths) <= _DEEPEST:
        return LEVEL
    return COLUMNS if any(not first for first in firsts) else SIGNS


def _at(row: Sequence[str], place: int) -> str:
    return row[place] if 0 <= place < len(row) else ""


def _cells(row: Sequence[str], places: dict[str, int], quantity: int) -> dict[str, str]:
    cells = {
        name: _at(row, place).strip() for name, place in places.items() if name not in ("level", "outline", "child")
    }
    if not places:
        cells["quantity"] = _at(row, quantity).strip()
    return cells


def _by_signs(number: int, row: Sequence[str], places: dict[str, int]) -> IndentedLine:
    place = places.get("child", 0)
    text = _at(row, place).replace("\u00a0", " ").expandtabs(4)
    prefix = _PREFIX.match(text)
    before = prefix[0] if prefix else ""
    signs = len(re.sub(r"\s", "", before))
    return IndentedLine(number, signs or len(before), text[len(before) :].strip(), _cells(row, places, place + 1))


def _by_level(number: int, row: Sequence[str], places: dict[str, int]) -> IndentedLine:
    found = _DEPTH.fullmatch(_at(row, places.get("level", 0)).strip())
    place = places.get("child", 1)
    indent = int(found[1]) if found else -1
    return IndentedLine(number, indent, _at(row, place).strip(" .\u00a0"), _cells(row, places, place + 1))


def _by_outline(number: int, row: Sequence[str], places: dict[str, int]) -> IndentedLine:
    outline = _at(row, places.get("outline", 0)).strip().rstrip(".")
    place = places.get("child", 1)
    indent = outline.count(".") + 1 if _NUMBERED.fullmatch(outline) else -1
    return IndentedLine(number, indent, _at(row, place).strip(), _cells(row, places, place + 1), outline)


def _by_columns(number: int, row: Sequence[str], places: dict[str, int]) -> IndentedLine:
    start = places.get("child", 0)
    place = next((at for at in range(start, len(row)) if not is_blank(row[at])), start)
    last = max((at for at in range(len(row)) if not is_blank(row[at])), default=place)
    cells = _cells(row, places, last if last > place else -1)
    return IndentedLine(number, place - start, _at(row, place).strip(), cells)


_READERS: dict[str, Callable[[int, Sequence[str], dict[str, int]], IndentedLine]] = {
    SIGNS: _by_signs,
    LEVEL: _by_level,
    OUTLINE: _by_outline,
    COLUMNS: _by_columns,
}
