"""Sheets out: a workbook whose text cells stay text, and comma-separated text that no spreadsheet program runs."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.utils import get_column_letter

from kits.exchange.reading.cells.values import CellValue
from kits.exchange.sheets.layouts import Column, Sheet
from kits.exchange.workbooks.sheet_looks import own_font, set_print

_NUMBERS = frozenset({"whole", "quantity", "stock", "rate", "money", "lead"})
_DAYS = frozenset({"day", "use_by"})
# The wide forms count as well: programs set to a language that is written with them run those too (from memory).
_STARTS_A_FORMULA = re.compile("'*[=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
_PLAIN_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")
_UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
_LONGEST_TEXT = 32_767


@dataclass(frozen=True, slots=True)
class SheetRows:
    """A sheet with its rows as cell values."""

    sheet: Sheet
    rows: Sequence[Sequence[CellValue]]


def write_workbook(sheets: Iterable[SheetRows]) -> bytes:
    """Write the sheets as one workbook: text columns in text format, headings frozen."""
    book = Workbook(write_only=True)
    for one in sheets:
        _write_sheet(book.create_sheet(one.sheet.name), one)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _write_sheet(sheet: Any, one: SheetRows) -> None:
    for position, column in enumerate(one.sheet.columns, start=1):
        dimension = sheet.column_dimensions[get_column_letter(position)]
        longest = max((len(str(row[position - 1] or "")) for row in one.rows[:500]), default=0)
        dimension.width = min(max(len(column.name) + 2, longest + 2), 60)
        # An empty cell is typed into as text as well, so that 0012 stays 0012.
        dimension.number_format = number_format(column)
    set_print(sheet, 1, width=sum(one.width for one in sheet.column_dimensions.values()))
    sheet.append([_heading(sheet, column.name) for column in one.sheet.columns])
    for row in one.rows:
        sheet.append(
            [
                make_cell(sheet, value, number_format(column))
                for column, value in zip(one.sheet.columns, row, strict=True)
            ]
        )


def _heading(sheet: Any, text: str) -> WriteOnlyCell:
    cell = WriteOnlyCell(sheet, text)
    cell.font = own_font(bold=True)
    return cell


def number_format(column: Column) -> str:
    """The format in which the column's cells are shown and typed into."""
    if column.reads in _DAYS:
        return "yyyy-mm-dd"
    return "General" if column.reads in _NUMBERS else "@"


def make_cell(sheet: Any, value: CellValue, shown_as: str = "General") -> WriteOnlyCell | None:
    """A cell; a text is text whatever it starts with."""
    if value is None:
        return None
    if isinstance(value, str):
        cell = WriteOnlyCell(sheet, plain_text(value))
        cell.data_type = "s"
        cell.number_format = "@" if shown_as == "General" else shown_as
        return cell
    cell = WriteOnlyCell(sheet, value)
    cell.number_format = "yyyy-mm-dd" if isinstance(value, date) else shown_as
    return cell


def plain_text(text: str) -> str:
    """The text without what a workbook cannot hold."""
    return _UNWRITABLE.sub("", text)[:_LONGEST_TEXT]


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
