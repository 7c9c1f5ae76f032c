"""Sheets out: a workbook whose text cells stay text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from openpyxl.utils import get_column_letter

from kits.exchange.columns.layout import Column
from kits.exchange.columns.sheet_text import SheetRows
from kits.exchange.workbooks.sheet_looks import set_print
from kits.exchange.workbooks.streamed_book import DAY, GENERAL, TEXT, ColumnCells, StreamedBook, Value, heading_cells

_NUMBERS = frozenset({"whole", "quantity", "stock", "rate", "money", "lead"})
_DAYS = frozenset({"day", "use_by"})
WIDEST = 60


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
