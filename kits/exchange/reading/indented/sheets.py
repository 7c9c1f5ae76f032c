"""A sheet of a file as the text of an indented list: what stands in a field, and what its first lines look like."""

from __future__ import annotations

from kits.catalog.errors import Refusal
from kits.exchange.files.raw_sheets import RawSheet
from kits.exchange.reading.indented.cells import rows_of_text

_MOST_ROWS = 200


def opening_cells(raw: RawSheet) -> list[list[str]]:
    """The first rows of a sheet as texts, taken apart as they would be if they were pasted."""
    if raw.from_text:
        try:
            return rows_of_text(raw.opening).rows[:_MOST_ROWS]
        except Refusal:  # no list begins like this
            return []
    return [[_cell(value) for value in row.values] for row in raw.rows[:_MOST_ROWS]]


def as_pasted(raw: RawSheet) -> str:
    """A sheet of a workbook as a spreadsheet would copy it: tabs between cells, each row on the line of its number."""
    lines: list[str] = []
    for row in raw.rows:
        lines += [""] * (row.number - 1 - len(lines))
        lines.append("\t".join(_cell(value) for value in row.values).rstrip("\t"))
    return "\n".join(lines)


def _cell(value: object) -> str:
    """A value in one line; a whole number without the point that a workbook gives it."""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return "" if value is None else str(value).replace("\t", " ").replace("\r", " ").replace("\n", " ").rstrip()
