"""Sheets out: a workbook whose text cells stay text, and comma-separated text that no spreadsheet program runs."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from openpyxl.utils import get_column_letter

from kits.exchange.reading.cells.values import CellValue
from kits.exchange.sheets.layouts import Column, Sheet
from kits.exchange.workbooks.sheet_looks import set_print
from kits.exchange.workbooks.streamed_book import DAY, GENERAL, TEXT, ColumnCells, StreamedBook, Value, heading_cells

_NUMBERS = frozenset({"whole", "quantity", "stock", "rate", "money", "lead"})
_DAYS = frozenset({"day", "use_by"})
# The wide forms count as well: programs set to a language that is written with them run those too (from memory).
_STARTS_A_FORMULA = re.compile("'*[=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
_PLAIN_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")
WIDEST = 60


@dataclass(frozen=True, slots=True)
class SheetRows:
    """A sheet with its rows as cell values."""

    sheet: Sheet
    rows: Sequence[Sequence[CellValue]]


def write_workbook(sheets: Iterable[SheetRows]) -> bytes:
    """Write the sheets as one workbook: text columns in text format, headings frozen."""
    book = StreamedBook()
    for one in sheets:
        formats = [number_format(column) for column in one.sheet.columns]
        write_list(book, one.sheet.name, [column.name for column in one.sheet.columns], formats, one.rows)
    return book.content()


def write_list(
    book: StreamedBook,
    title: str,
    headings: Sequence[str],
    formats: Sequence[str],
    rows: Sequence[Sequence[Value]],
) -> None:
    """Write rows below their headings, each column as wide as its first rows need; a blank is no cell."""
    sheet = book.add_sheet(title)
    widths = sheet.page.column_dimensions
    for place, (heading, shown_as) in enumerate(zip(headings, formats, strict=True)):
        dimension = widths[get_column_letter(place + 1)]
        longest = max((len(str(row[place] or "")) for row in rows[:500]), default=0)
        dimension.width = min(max(len(heading), longest) + 2, WIDEST)
        # An empty cell is typed into as text as well, so that 0012 stays 0012.
        dimension.number_format = shown_as
    set_print(sheet.page, 1, width=sum(one.width for one in widths.values()))
    sheet.append(heading_cells(sheet, headings))
    columns = [ColumnCells(sheet, place, shown_as) for place, shown_as in enumerate(formats, start=1)]
    for number, row in enumerate(rows, start=2):
        sheet.append(
            [column.cell(number, value) for column, value in zip(columns, row, strict=True) if value is not None]
        )


def number_format(column: Column) -> str:
    """The format in which the column's cells are shown and typed into."""
    if column.reads in _DAYS:
        return DAY
    return GENERAL if column.reads in _NUMBERS else TEXT


def write_text(one: SheetRows, *, decimal_comma: bool = False) -> str:
    """Write one sheet as comma-separated text; what a spreadsheet program would run is quoted with an apostrophe.

    With ``decimal_comma`` cells are parted by semicolons, as programs set to such a country expect it.
    """
    out = io.StringIO()
    writer = csv.writer(out, delimiter=";" if decimal_comma else ",", lineterminator="\r\n")
    writer.writerow([column.name for column in one.sheet.columns])
    for row in one.rows:
        writer.writerow([_text_cell(value, decimal_comma) for value in row])
    return out.getvalue()


def _text_cell(value: CellValue, decimal_comma: bool) -> str:
    if value is None:
        return ""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (int, Decimal)):
        return _with_comma(f"{value:f}") if decimal_comma and isinstance(value, Decimal) else str(value)
    return quote_formula(value)


def _with_comma(number: str) -> str:
    whole, point, rest = number.partition(".")
    # Three digits behind a comma could be thousands: with a fourth they cannot.
    return f"{whole},{rest}0" if len(rest) == 3 else f"{whole},{rest}" if point else whole


def quote_formula(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet program would take for a formula; plain numbers stay.

    A text that has such an apostrophe of its own gets one more, so that taking one off gives every text back.
    """
    if _STARTS_A_FORMULA.match(text) and not _PLAIN_NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def unquote_formula(text: str) -> str:
    """Take off the apostrophe that keeps a spreadsheet program from running a text."""
    return text[1:] if text.startswith("'") and _STARTS_A_FORMULA.match(text) else text
