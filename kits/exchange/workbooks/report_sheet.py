"""One sheet of a report: a title, lines above, and a real table with filters that prints one page wide."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from openpyxl.cell import Cell
from openpyxl.styles import Alignment, Border, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.table import Table, TableStyleInfo
from openpyxl.worksheet.worksheet import Worksheet

from kits.exchange.workbooks.sheet_looks import own_font, set_print
from kits.exchange.workbooks.sheet_writer import plain_text

WHOLE, AMOUNT, MONEY, SHARE, DAY, TEXT = "#,##0", "#,##0.######", "#,##0.00", "0.0 %", "yyyy-mm-dd", "@"
Value = str | int | float | Decimal | date | None


@dataclass(frozen=True, slots=True)
class Heading:
    """A column of a report: its words, the format of its cells, its width in characters."""

    words: str
    shown_as: str = TEXT
    width: int = 12


@dataclass(frozen=True, slots=True)
class Result:
    """A formula with its result, stored beside it so that a viewer that cannot work it out shows it all the same."""

    formula: str
    value: Decimal | int


Results = dict[tuple[str, str], Decimal | int]
"""(sheet, cell) -> the result to be stored."""


def put(cell: Cell, value: Value, shown_as: str = TEXT) -> None:
    """Fill a cell; a text is text whatever it starts with."""
    if value is None or value == "":
        cell.number_format = shown_as
        return
    if isinstance(value, str):
        cell.value = plain_text(value)
        cell.data_type = "s"
        cell.number_format = TEXT
        return
    cell.value = value
    cell.number_format = shown_as


def put_result(cell: Cell, result: Result, shown_as: str, results: Results) -> None:
    """Fill a cell with a formula, and note its result to be stored."""
    cell.value = result.formula
    cell.number_format = shown_as
    results[cell.parent.title, cell.coordinate] = result.value


def add_title(sheet: Worksheet, text: str) -> None:
    """The first line of a sheet."""
    put(sheet["A1"], text)
    sheet["A1"].font = own_font(bold=True, size=13)


def add_table(
    sheet: Worksheet, name: str, row: int, headings: Sequence[Heading], rows: Sequence[Sequence[Value]], nothing: str
) -> None:
    """Lay a table with its headings at ``row``; without rows there is one sentence in its place."""
    for place, heading in enumerate(headings, start=1):
        cell = sheet.cell(row, place, heading.words)
        cell.font = own_font(bold=True)
        cell.border = Border(bottom=Side(style="medium"))
        cell.alignment = _alignment(heading)
        sheet.column_dimensions[get_column_letter(place)].width = heading.width
    sheet.row_dimensions[row].height = _height([heading.words + "    " for heading in headings], headings)
    for number, values in enumerate(rows, start=row + 1):
        for place, (heading, value) in enumerate(zip(headings, values, strict=True), start=1):
            cell = sheet.cell(number, place)
            put(cell, value, heading.shown_as)
            cell.alignment = _alignment(heading)
            cell.border = Border(bottom=Side(style="hair", color="999999"))
        sheet.row_dimensions[number].height = _height(values, headings)
    if rows:
        table = Table(displayName=name, ref=f"A{row}:{get_column_letter(len(headings))}{row + len(rows)}")
        table.tableStyleInfo = TableStyleInfo(name="TableStyleLight1", showRowStripes=False)
        sheet.add_table(table)
    else:
        put(sheet.cell(row + 1, 1), nothing)
    set_print(sheet, row)


def _alignment(heading: Heading) -> Alignment:
    is_text = heading.shown_as == TEXT
    return Alignment(
        wrap_text=True, vertical="top", horizontal="left" if is_text else "right", indent=1 if is_text else 0
    )


def _height(values: Sequence[Value], headings: Sequence[Heading]) -> float:
    """High enough for the longest text; not every program works this out when it opens a file."""
    lines = max(
        (
            _lines(value, heading.width - 2)
            for value, heading in zip(values, headings, strict=True)
            if isinstance(value, str)
        ),
        default=1,
    )
    return 3 + 12.5 * min(max(lines, 1), 12)


def _lines(text: str, width: int) -> int:
    """How many lines a text takes when it is broken between words."""
    lines, filled = 1, 0
    for word in text.split():
        if filled and filled + 1 + len(word) > width:
            lines, filled = lines + 1, 0
        filled += len(word) + bool(filled)
        lines, filled = lines + (filled - 1) // width, (filled - 1) % width + 1
    return lines


def amount(value: Any) -> int | float | None:
    """A number of the plan; nothing stays blank."""
    return value or None
