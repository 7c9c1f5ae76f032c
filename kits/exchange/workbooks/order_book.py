"""An order as a workbook: what is ordered at which price, with charges and total, and fields for the confirmation.

What is ordered is locked, without a password; fields for the confirmation are filled with colour and open. Eleven
columns are printed, one page wide; the key stands beside them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from openpyxl.styles import Alignment, Border, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter

from bom.values import ONE
from kits.exchange.workbooks.report_sheet import AMOUNT, MONEY, WHOLE
from kits.exchange.workbooks.sheet_looks import own_font, set_print
from kits.exchange.workbooks.streamed_book import DAY, TEXT, ColumnCells, Dress, StreamedBook, Value, heading_row
from kits.purchasing.orders.order_sheet import OrderSheet, OrderSheetLine

SHEET = "Order"
PRICE = "#,##0.00####"
A4 = 9
PACKS, PRICED, DAY_SAID, NOTE, KEY = "Packs confirmed", "Price confirmed", "Promised at our door", "Your note", "Key"
HOW_TO_CONFIRM = (
    "Please confirm each line in the coloured fields, or write what is different. A line whose fields are left blank "
    "is not confirmed. The sheet is locked without a password; leave the column Key as it is."
)
_FILL = PatternFill("solid", fgColor="FFF6D6")
_LINE = 12.5


@dataclass(frozen=True, slots=True)
class OrderColumn:
    """A column of an order; one without a value is for the confirmation."""

    words: str
    width: int
    value_of: Callable[[OrderSheetLine], Value] | None = None
    shown_as: str = TEXT


def _number(line: OrderSheetLine) -> str:
    yours = f"\nyours: {line.supplier_part_number}" if line.supplier_part_number else ""
    return f"{line.number}   {line.item.part_number}{yours}"


def _what(line: OrderSheetLine) -> str:
    return "\n".join((line.says_what, *line.asks))


def _pack(line: OrderSheetLine) -> Value:
    return None if line.pack_size is None else Decimal(line.pack_size.millionths) / ONE


COLUMNS = (
    OrderColumn("Line and number", 18, _number),
    OrderColumn("What we order", 38, _what),
    OrderColumn("Packs", 8, lambda line: line.packs, WHOLE),
    OrderColumn("In a pack", 9, _pack, AMOUNT),
    OrderColumn("Price per pack", 11, lambda line: line.price_per_pack, PRICE),
    OrderColumn("Comes to", 12, lambda line: line.value, MONEY),
    OrderColumn("Wanted at our door", 12, lambda line: line.promised_on or line.wanted_on, DAY),
    OrderColumn(PACKS, 11, None, WHOLE),
    OrderColumn(PRICED, 11, None, PRICE),
    OrderColumn(DAY_SAID, 12, None, DAY),
    OrderColumn(NOTE, 24),
    OrderColumn(KEY, 16, lambda line: line.number),
)
_PRINTED = len(COLUMNS) - 1


def order_workbook(sheet: OrderSheet, shop_lines: Sequence[str]) -> bytes:
    """Write an order as a workbook of one sheet; ``shop_lines`` are the shop's name, address and contact."""
    book = StreamedBook()
    _Writer(book, sheet).write(shop_lines)
    return book.content()


class _Writer:
    """Writes one order from top to bottom."""

    def __init__(self, book: StreamedBook, sheet: OrderSheet) -> None:
        self.sheet, self.rows = sheet, book.add_sheet(SHEET)
        self.page: Any = self.rows.page
        for place, column in enumerate(COLUMNS, start=1):
            self.page.column_dimensions[get_column_letter(place)].width = column.width

    def write(self, shop_lines: Sequence[str]) -> None:
        """The two parties, how to confirm, the lines, and what they come to."""
        sheet = self.sheet
        sent = sheet.order.sent_on if sheet.order else None
        for place, text in enumerate(shop_lines):
            self._line(text, _bold(14) if not place else None, 20 if not place else 14)
        self._line(f"Order {sheet.number} to {sheet.supplier}", _bold(13), 19)
        self._line(f"Of {sent}" if sent else "Draft: not sent")
        self._line(f"Prices in {sheet.currency}" if sheet.currency else "")
        self._line(HOW_TO_CONFIRM)
        top = self.rows.row + 1
        dresses = [_heading(column) for column in COLUMNS]
        self.rows.append(heading_row(self.rows, top, [one.words for one in COLUMNS], dresses), 2 * _LINE + 4)
        cells = [ColumnCells(self.rows, place, one.shown_as, _cell(one)) for place, one in enumerate(COLUMNS, start=1)]
        lines = [line for line in sheet.lines if line.packs]
        for row, line in enumerate(lines, start=top + 1):
            self._row(cells, row, line)
        self._totals(top + 1, self.rows.row)
        self._finish(top)

    def _row(self, cells: Sequence[ColumnCells], row: int, line: OrderSheetLine) -> None:
        values = [None if one.value_of is None else one.value_of(line) for one in COLUMNS]
        made = [cell.cell(row, value) for cell, value in zip(cells, values, strict=True)]
        if line.value is not None:
            made[5] = cells[5].formula(row, f"ROUND(C{row}*E{row},2)", line.value)
        self.rows.append(made, _height(values))

    def _totals(self, first: int, last: int) -> None:
        total = self.sheet.total
        if total is None:
            return
        begun = self.rows.row + 1
        charges = (("Charge for a small order", total.small_order), ("Certificates", total.certificates))
        self._sum("Goods", f"SUM(F{first}:F{last})", total.goods)
        for says, amount in charges:
            if amount:
                self._sum(says, None, amount)
        self._sum(f"Total, {self.sheet.currency}", f"SUM(F{begun}:F{self.rows.row})", total.total, _bold(None))

    def _sum(self, says: str, formula: str | None, amount: Decimal, dress: Dress | None = None) -> None:
        row = self.rows.row + 1
        money = ColumnCells(self.rows, 6, MONEY, dress)
        figure = money.cell(row, amount) if formula is None else money.formula(row, formula, amount)
        self.rows.append([ColumnCells(self.rows, 2, TEXT, dress).cell(row, says), figure])

    def _line(self, text: str, dress: Dress | None = None, height: float = 14) -> None:
        row = self.rows.row + 1
        self.rows.append([ColumnCells(self.rows, 1, TEXT, dress).cell(row, text)], height)

    def _finish(self, top: int) -> None:
        page = self.page
        set_print(page, top, 1)
        page.print_area = f"A1:{get_column_letter(_PRINTED)}{self.rows.row}"
        page.page_setup.paperSize = A4
        page.oddFooter.left.text = f"Order {self.sheet.number}"
        page.protection.sheet = True
        for allowed in ("formatColumns", "formatRows", "sort", "autoFilter"):
            setattr(page.protection, allowed, False)


def _bold(size: float | None) -> Dress:
    def dress(cell: Any) -> None:
        cell.font = own_font(bold=True, size=size)

    return dress


def _heading(column: OrderColumn) -> Dress:
    def dress(cell: Any) -> None:
        cell.font = own_font(bold=True)
        cell.border = Border(bottom=Side(style="medium"))
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        if column.value_of is None:
            cell.fill = _FILL

    return dress


def _cell(column: OrderColumn) -> Dress:
    def dress(cell: Any) -> None:
        side = Side(style="hair", color="999999")
        cell.border = Border(bottom=side)
        cell.alignment = Alignment(
            wrap_text=True, vertical="top", horizontal="left" if column.shown_as == TEXT else None
        )
        if column.words == KEY:
            cell.font = own_font(size=7, color="808080")
        if column.value_of is None:
            cell.border = Border(bottom=side, left=side, right=side)
            cell.fill, cell.protection = _FILL, Protection(locked=False)

    return dress


def _height(values: Sequence[Value]) -> float:
    most = 1
    for column, value in zip(COLUMNS[:_PRINTED], values, strict=False):
        if isinstance(value, str):
            most = max(most, sum(max(1, -(-len(line) // (column.width - 1))) for line in value.split("\n")))
    return 5 + _LINE * most
