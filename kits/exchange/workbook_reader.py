"""Workbooks in: every sheet with its values, read row by row, and the marks that the values do not tell."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from typing import Any
from xml.etree.ElementTree import ParseError

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter
from openpyxl.utils.exceptions import InvalidFileException

from kits.exchange.file_guard import check_package
from kits.exchange.raw_sheets import NO_RESULT, FileRefused, RawRow, RawSheet, Unread, is_blank
from kits.exchange.sheet_marks import SheetMarks, read_marks

MOST_ROWS = 250_000
MOST_COLUMNS = 200


def read_workbook(content: bytes, file: str) -> list[RawSheet]:
    """Read all sheets of a workbook that passed the guard."""
    check_package(content)
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
            try:
                return [_read_sheet(package, sheet, file) for sheet in book.worksheets]
            finally:
                book.close()
    except FileRefused:
        raise
    except (KeyError, ValueError, IndexError, TypeError, AttributeError, EOFError) as error:
        raise _damaged() from error
    except (zipfile.BadZipFile, zipfile.error, InvalidFileException, ParseError, OSError) as error:
        raise _damaged() from error


def _damaged() -> FileRefused:
    return FileRefused(
        "the workbook is damaged and cannot be read", "open it in a spreadsheet program and save it anew"
    )


def _read_sheet(package: zipfile.ZipFile, sheet: Any, file: str) -> RawSheet:
    # The path of the sheet's part stands nowhere else than in this attribute.
    with package.open(sheet._worksheet_path) as part:
        marks = read_marks(part, MOST_COLUMNS)
    # The file's own note of how large it is may be wrong, and rows would be lost without a word.
    sheet.reset_dimensions()
    raw = RawSheet(
        file=file,
        name=sheet.title,
        rows=list(_read_rows(sheet, marks)),
        merged=tuple(marks.merged),
        hidden=sheet.sheet_state != "visible",
        hidden_columns=frozenset(marks.hidden_columns),
    )
    if marks.columns > MOST_COLUMNS:
        raw.remarks = (f"the columns after {get_column_letter(MOST_COLUMNS)} are not read",)
    return raw


def _read_rows(sheet: Any, marks: SheetMarks) -> Iterator[RawRow]:
    filled = 0
    if not marks.filled_rows:
        return
    for number, cells in enumerate(sheet.iter_rows(max_col=min(marks.columns, MOST_COLUMNS)), start=1):
        if number not in marks.filled_rows:
            continue
        row = RawRow(number, [], hidden=number in marks.hidden_rows)
        for position, cell in enumerate(cells):
            row.values.append(_value_of(cell, number, position, row, marks))
        while row.values and is_blank(row.values[-1]):
            row.values.pop()
        if row.values:
            filled += 1
            if filled > MOST_ROWS:
                raise FileRefused(
                    f"sheet {sheet.title} has more than {MOST_ROWS} filled rows", "split it into several files"
                )
            yield row


def _value_of(cell: Any, number: int, position: int, row: RawRow, marks: SheetMarks) -> object:
    value = cell.value
    if value is None:
        if marks.without_result and f"{get_column_letter(position + 1)}{number}" in marks.without_result:
            return NO_RESULT
        return None
    if isinstance(value, str):
        return Unread(f"the error {value}") if cell.data_type == "e" else value
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        number_format = cell.number_format
        if number_format != "General":
            row.formats[position] = number_format
    elif not isinstance(value, (bool, datetime, date, time, timedelta)):
        return str(value)
    return value
