"""Which list a sheet holds: by its name, however a browser or a person lengthened that, or by its headings."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from kits.exchange.columns.layout import Layout, fold_heading, headings_of
from kits.exchange.columns.layouts import LAYOUTS, find_layout
from kits.exchange.files.raw_sheets import RawSheet, is_blank

_LOOKED_AT = 20
_MOST_SHOWN = 4
_MOST_CELLS = 8
_LONGEST_SHOWN = 40
_ADDED = frozenset("copy of final new latest old draft export exported backup version rev revision sheet table".split())
_WORDS = re.compile(r"[^\W\d_]+|\d+")


def named_loosely(name: str) -> Layout | None:
    """The list that a name such as ``Copy of items (1)`` or ``items_2026-11-29`` speaks of."""
    words = [word for word in _WORDS.findall(name) if not word.isdigit()]
    kept = [word for word in words if word.casefold() not in _ADDED and not re.fullmatch("[vV]", word)]
    return find_layout("".join(kept)) if kept else None


def lists_by_headings(raw: RawSheet) -> list[Layout]:
    """The lists whose needed columns all stand in one row, those of the most known headings: none, one, or a tie."""
    points = {sheet: score for sheet in LAYOUTS if (score := _points(raw, sheet))}
    best = max(points.values(), default=0)
    return [sheet for sheet, score in points.items() if score == best]


def has_headings_of(raw: RawSheet, sheet: Layout) -> bool:
    """Whether one of the first rows looks like the headings of this list."""
    return any(_known(row.values, sheet) >= 2 for row in raw.rows[:_LOOKED_AT])


def _points(raw: RawSheet, sheet: Layout) -> int:
    """How many headings are known to the list, in the best row that has all that are needed; 0 where most are not."""
    needed = {column.name for column in sheet.columns if column.required}
    known = headings_of(sheet)
    best = 0
    for row in raw.rows[:_LOOKED_AT]:
        folded = {fold_heading(value) for value in row.values if isinstance(value, str) and not is_blank(value)}
        columns = {known[heading].name for heading in folded if heading in known}
        if needed <= columns and len(columns) >= 2 and 2 * len(columns) >= len(folded):
            best = max(best, len(columns))
    return best


def _known(values: Sequence[object], sheet: Layout) -> int:
    known = headings_of(sheet)
    return sum(isinstance(value, str) and fold_heading(value) in known for value in values)


def fits_headings(raw: RawSheet, sheet: Layout) -> bool:
    """Whether one row has every column that the list needs, under any of its headings."""
    return _points(raw, sheet) > 0


def shown_cells(rows: Sequence[Sequence[str]]) -> tuple[tuple[str, ...], ...]:
    """The first cells of a sheet, to recognise it by."""
    return tuple(tuple(cell[:_LONGEST_SHOWN] for cell in row[:_MOST_CELLS]) for row in rows[:_MOST_SHOWN])


def find_resembling(raw: RawSheet) -> tuple[str, ...]:
    """The lists with which a sheet has at least two headings in common, the nearest first."""
    first = raw.rows[:_LOOKED_AT]
    points = {sheet.name: max((_known(row.values, sheet) for row in first), default=0) for sheet in LAYOUTS}
    return tuple(name for name in sorted(points, key=lambda name: -points[name]) if points[name] >= 2)[:3]


def names_of(sheets: Iterable[Layout]) -> tuple[str, ...]:
    """The names of some lists."""
    return tuple(sheet.name for sheet in sheets)
