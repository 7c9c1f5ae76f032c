"""The example row of a template: left out when it comes back untouched."""

from __future__ import annotations

from datetime import date, datetime

from kits.catalog.folding import fold
from kits.exchange.columns.examples import EXAMPLE
from kits.exchange.columns.layout import Layout
from kits.exchange.files.raw_sheets import RawRow, is_blank
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.headings import SheetHeadings

_LOOKED_AT = 5
"""The example stands in the first rows; further down nobody looks for it."""


def drop_example(found: SheetHeadings, findings: Findings) -> None:
    """Leave the untouched example out; refuse one that was half typed over, for nobody knows what it was to be."""
    for row in found.rows[:_LOOKED_AT]:
        filled = _filled(found, row)
        named = (name for name in _naming(found.sheet) if fold(filled.get(name, "")).startswith(EXAMPLE.casefold()))
        column = next(named, "")
        if not column:
            continue
        if filled == _as_texts(found):
            findings.remark(found.sheet.name, "", "the example row was left out", row.number, found.file)
        else:
            findings.refuse(
                found.sheet.name,
                row.number,
                column,
                filled[column],
                "this row is half the example and half an entry",
                "type over everything in it that says EXAMPLE, or delete the row",
                found.file,
            )
        found.rows.remove(row)


def _naming(sheet: Layout) -> list[str]:
    """The columns whose texts say that a row is the example; a description may begin as it likes."""
    named = [name for name, value in sheet.example.items() if str(value).startswith(EXAMPLE)]
    keys = {column.name for column in sheet.key}
    return [name for name in named if name in keys] or named


def _filled(found: SheetHeadings, row: RawRow) -> dict[str, str]:
    return {
        column.name: _text(row.values[position])
        for position, column in found.columns
        if position < len(row.values) and not is_blank(row.values[position])
    }


def _as_texts(found: SheetHeadings) -> dict[str, str]:
    names = found.names
    return {name: _text(value) for name, value in found.sheet.example.items() if name in names}


def _text(value: object) -> str:
    if isinstance(value, datetime):
        value = value.date()
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return value.isoformat() if isinstance(value, date) else str(value).strip()
