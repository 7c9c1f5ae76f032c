"""One sheet of a report: a title, lines, and a real table with filters that prints one page wide."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from openpyxl.styles import Alignment, Border, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.filters import AutoFilter
from openpyxl.worksheet.table import Table, TableColumn, TableStyleInfo

from kits.exchange.workbooks.sheet_looks import own_font, set_print
from kits.exchange.workbooks.streamed_book import TEXT, ColumnCells, Dress, StreamedBook, Value, heading_row

WHOLE, AMOUNT, MONEY, SHARE = "#,##0", "#,##0.######", "#,##0.00", "0.0 %"
_MOST_LINES = 12


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


@dataclass(frozen=True, slots=True)
class Spot:
    """A value outside the table: in which column it stands, and in which format."""

    value: Value | Result
    column: int = 1
    shown_as: str = TEXT


class ReportSheet:
    """A sheet that is written from top to bottom; the rows down to ``frozen_at`` stay on the screen."""

    def __init__(
        self, book: StreamedBook, name: str, widths: Sequence[int], frozen_at: int, *, frozen_columns: int = 0
    ) -> None:
        self._sheet = book.add_sheet(name)
        for place, width in enumerate(widths, start=1):
            self._sheet.page.column_dimensions[get_column_letter(place)].width = width
        set_print(self._sheet.page, frozen_at, frozen_columns)

    def print_only(self, area: str) -> None:
        """Print this part of the sheet and no other."""
        self._sheet.page.print_area = area

    def add_title(self, text: str) -> None:
        """The first line of a sheet."""
        self._sheet.append([ColumnCells(self._sheet, 1, TEXT, _dress_title).cell(self._sheet.row + 1, text)])

    def add_line(self, *spots: Spot) -> int:
        """A line outside the table, empty where nothing is given; the number of its row."""
        row = self._sheet.row + 1
        self._sheet.append([self._cell(row, spot) for spot in spots])
        return row

    def add_table(self, name: str, headings: Sequence[Heading], rows: Iterable[Sequence[Value]], nothing: str) -> None:
        """Lay a table below what stands there; without rows there is one sentence in its place."""
        sheet, top, places = self._sheet, self._sheet.row + 1, range(1, len(headings) + 1)
        words = [heading.words for heading in headings]
        beside = "    "  # takes the button of the filter
        sheet.append(
            heading_row(sheet, top, words, [_dress_heading(one) for one in headings]),
            _height([one + beside for one in words], headings),
        )
        columns = [
            ColumnCells(sheet, place, one.shown_as, _dress_cell(one))
            for place, one in zip(places, headings, strict=True)
        ]
        for row, values in enumerate(rows, start=top + 1):
            cells = [column.cell(row, value) for column, value in zip(columns, values, strict=True)]
            sheet.append(cells, _height(values, headings))
        if sheet.row == top:
            self.add_line(Spot(nothing))
            return
        ref = f"A{top}:{get_column_letter(len(headings))}{sheet.row}"
        table = Table(displayName=name, ref=ref, autoFilter=AutoFilter(ref=ref))
        table.tableColumns = [
            TableColumn(id=place, name=one.words) for place, one in zip(places, headings, strict=True)
        ]
        table.tableStyleInfo = TableStyleInfo(name="TableStyleLight1", showRowStripes=False)
        sheet.page.tables.add(table)

    def _cell(self, row: int, spot: Spot) -> str:
        column = ColumnCells(self._sheet, spot.column, spot.shown_as)
        if isinstance(spot.value, Result):
            return column.formula(row, spot.value.formula, spot.value.value)
        return column.cell(row, spot.value)


def _dress_title(cell: Any) -> None:
    cell.font = own_font(bold=True, size=13)


def _dress_heading(heading: Heading) -> Dress:
    def dress(cell: Any) -> None:
        cell.font = own_font(bold=True)
        cell.border = Border(bottom=Side(style="medium"))
        cell.alignment = _alignment(heading)

    return dress


def _dress_cell(heading: Heading) -> Dress:
    def dress(cell: Any) -> None:
        cell.alignment = _alignment(heading)
        cell.border = Border(bottom=Side(style="hair", color="999999"))

    return dress


def _alignment(heading: Heading) -> Alignment:
    is_text = heading.shown_as == TEXT
    return Alignment(
        wrap_text=True, vertical="top", horizontal="left" if is_text else "right", indent=1 if is_text else 0
    )


def _height(values: Sequence[Value], headings: Sequence[Heading]) -> float:
    """High enough for the longest text; not every program works this out when it opens a file."""
    most = 1
    for value, heading in zip(values, headings, strict=True):
        # A text no longer than its column takes one line however it is broken.
        if value.__class__ is str and len(value) > heading.width - 2:
            most = max(most, _lines(value, heading.width - 2))
    return 3 + 12.5 * min(most, _MOST_LINES)


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
