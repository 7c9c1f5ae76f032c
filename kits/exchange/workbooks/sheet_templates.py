"""Templates: a workbook to be filled in, with lists to choose from, notes on the headings and an example row."""

from __future__ import annotations

import io
from collections.abc import Collection

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from kits.catalog.words import StockUnit
from kits.exchange.columns.column_notes import column_note
from kits.exchange.columns.examples import example_row
from kits.exchange.columns.layout import Column, Layout
from kits.exchange.columns.layouts import LAYOUTS
from kits.exchange.workbooks.sheet_looks import own_font, set_print
from kits.exchange.workbooks.sheet_writer import number_format
from kits.exchange.workbooks.streamed_book import TEXT

_ROWS = 5000
"""How far down the lists to choose from and the formats of the columns reach."""

_SOFT = own_font(italic=True, color="666666")
_NEEDED = PatternFill("solid", fgColor="E6EEF0")


def template_workbook(names: Collection[str] = ()) -> bytes:
    """Write templates of the named sheets, or of all of them."""
    book = Workbook()
    if book.active is not None:
        book.remove(book.active)
    for sheet in LAYOUTS:
        if not names or sheet.name in names:
            _lay_out(book.create_sheet(sheet.name), sheet)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def choices_of(column: Column) -> tuple[str, ...]:
    """The words that a column is filled with, if they are few."""
    if column.words:
        return column.words
    return tuple(StockUnit.values) if column.name == "stock_unit" else ()


def _lay_out(page: Worksheet, sheet: Layout) -> None:
    for place, (column, value) in enumerate(zip(sheet.columns, example_row(sheet), strict=True), start=1):
        letter = get_column_letter(place)
        page.column_dimensions[letter].width = max(len(column.name), len(str(value or ""))) + 3
        # An empty cell is typed into as text as well, so that 0012 stays 0012.
        page.column_dimensions[letter].number_format = number_format(column)
        heading = page.cell(1, place, column.name)
        heading.font = own_font(bold=True)
        if column.required:
            heading.fill = _NEEDED
        heading.comment = _note(column_note(sheet, column))
        example = page.cell(2, place)
        example.number_format = number_format(column)
        example.value = value
        if isinstance(value, str):
            example.data_type, example.number_format = "s", TEXT
        example.font = _SOFT
        if words := choices_of(column):
            page.add_data_validation(_choice(words, letter, column))
    set_print(page, 1, width=sum(one.width for one in page.column_dimensions.values()))


def _note(text: str) -> Comment:
    return Comment(text, "Rebuild Bench", height=30 + 18 * (len(text) // 34 + 1), width=260)


def _choice(words: Collection[str], letter: str, column: Column) -> DataValidation:
    choice = DataValidation(
        type="list",
        formula1=f'"{",".join(words)}"',
        allow_blank=True,
        showErrorMessage=True,
        errorTitle=column.name,
        error=f"Choose one of: {', '.join(words)}."[:255],
    )
    choice.add(f"{letter}2:{letter}{_ROWS}")
    return choice
