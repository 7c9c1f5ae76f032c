"""What a request and an order to a supplier have in common: one sheet, headings, locked cells, fields for his answer.

What the shop says is locked, without a password; fields for the answer are filled with colour and open. The first
columns are printed, one page wide, on the shop's paper; the rest stands beside them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Generic, TypeVar

from openpyxl.styles import Alignment, Border, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter

from kits.catalog.formats.in_force import A4, formats
from kits.exchange.workbooks.sheet_looks import PAPER_NUMBERS, own_font, set_print
from kits.exchange.workbooks.streamed_book import DAY, TEXT, ColumnCells, Dress, StreamedBook, Value, heading_row

FILL = PatternFill("solid", fgColor="FFF6D6")
LINE_HEIGHT = 12.5
Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class PaperColumn(Generic[Row]):
    """A column; one without a value is for the answer. ``small`` is written small and pale."""

    words: str
    width: int
    value_of: Callable[[Row], Value] | None = None
    shown_as: str = TEXT
    small: bool = False


class SupplierPaper(Generic[Row]):
    """One sheet, written from top to bottom: texts, then a table, of which so many columns are printed."""

    def __init__(self, book: StreamedBook, title: str, columns: Sequence[PaperColumn[Row]], printed: int) -> None:
        self.columns, self.printed, self.rows = columns, printed, book.add_sheet(title)
        self.page: Any = self.rows.page
        self.cells = [
            ColumnCells(self.rows, place, column.shown_as, _cell(column)) for place, column in enumerate(columns, 1)
        ]
        for place, column in enumerate(columns, start=1):
            self.page.column_dimensions[get_column_letter(place)].width = column.width

    def add_line(self, *texts: str, bold: float | None = None, height: float = 14) -> None:
        """A line of texts side by side; ``bold`` is the size of thick letters, 0 that of the others."""
        row, dress = self.rows.row + 1, None if bold is None else _bold(bold)
        made = [ColumnCells(self.rows, place, TEXT, dress).cell(row, text) for place, text in enumerate(texts, start=1)]
        self.rows.append(made, height)

    def add_sum(
        self, says: str, column: int, shown_as: str, value: Decimal | int, formula: str = "", *, bold: bool = False
    ) -> None:
        """A line below the table: words in its second column, a figure in another."""
        row, dress = self.rows.row + 1, _bold(0) if bold else None
        money = ColumnCells(self.rows, column, shown_as, dress)
        figure = money.formula(row, formula, value) if formula else money.cell(row, value)
        self.rows.append([ColumnCells(self.rows, 2, TEXT, dress).cell(row, says), figure])

    def add_headings(self) -> int:
        """The headings of the table; the row in which they stand."""
        top = self.rows.row + 1
        dresses = [_heading(column) for column in self.columns]
        words = [column.words for column in self.columns]
        self.rows.append(heading_row(self.rows, top, words, dresses), 2 * LINE_HEIGHT + 4)
        return top

    def add_row(self, line: Row, formulas: dict[int, tuple[str, Decimal | int]] | None = None) -> None:
        """A row of the table; ``formulas`` stand in the place of values, by column, with what they come to."""
        row = self.rows.row + 1
        values = [None if column.value_of is None else column.value_of(line) for column in self.columns]
        made = [cell.cell(row, value) for cell, value in zip(self.cells, values, strict=True)]
        for place, (formula, value) in (formulas or {}).items():
            made[place - 1] = self.cells[place - 1].formula(row, formula.format(row=row), value)
        self.rows.append(made, self._height(values))

    def finish(self, top: int, says: str) -> None:
        """How it is printed, and what may be changed in it; ``says`` stands at the foot of each page."""
        page = self.page
        set_print(page, top, 1)
        page.print_area = f"A1:{get_column_letter(self.printed)}{self.rows.row}"
        page.page_setup.paperSize = PAPER_NUMBERS[formats().paper or A4]
        page.oddFooter.left.text = says
        page.protection.sheet = True
        for allowed in ("formatColumns", "formatRows", "sort", "autoFilter"):
            setattr(page.protection, allowed, False)

    def _height(self, values: Sequence[Value]) -> float:
        most = 1
        for column, value in zip(self.columns[: self.printed], values, strict=False):
            if isinstance(value, str):
                width = column.width - 1
                most = max(most, sum(max(1, -(-len(line) // width)) for line in value.split("\n")))
        return 5 + LINE_HEIGHT * most


def _bold(size: float) -> Dress:
    def dress(cell: Any) -> None:
        cell.font = own_font(bold=True, size=size or None)

    return dress


def _heading(column: PaperColumn[Any]) -> Dress:
    def dress(cell: Any) -> None:
        cell.font = own_font(bold=True, size=8 if column.small else 10)
        cell.border = Border(bottom=Side(style="medium"))
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        if column.value_of is None:
            cell.fill = FILL

    return dress


def _cell(column: PaperColumn[Any]) -> Dress:
    def dress(cell: Any) -> None:
        side = Side(style="hair", color="999999")
        beside = side if column.value_of is None else None
        cell.border = Border(bottom=side, left=beside, right=beside)
        across = "left" if column.shown_as in (TEXT, DAY) or column.value_of is None else None
        cell.alignment = Alignment(wrap_text=True, vertical="top", horizontal=across)
        cell.font = own_font(size=7 if column.small else 10, color="808080" if column.small else None)
        if column.value_of is None:
            cell.fill, cell.protection = FILL, Protection(locked=False)

    return dress
