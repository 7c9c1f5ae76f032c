"""An order as a workbook: what is ordered at which price, with charges and total, and fields for the confirmation.

What is ordered is locked, without a password; fields for the confirmation are filled with colour and open. Eleven
columns are printed, one page wide; the key stands beside them.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from bom.values import ONE
from kits.catalog.days.words import in_full
from kits.exchange.workbooks.report_sheet import AMOUNT, MONEY, WHOLE
from kits.exchange.workbooks.streamed_book import DAY, StreamedBook, Value
from kits.exchange.workbooks.supplier_paper import PaperColumn, SupplierPaper
from kits.purchasing.orders.order_sheet import OrderSheet, OrderSheetLine
from kits.purchasing.orders.totals import OrderTotal

SHEET = "Order"
PRICE = "#,##0.00####"
PACKS, PRICED, DAY_SAID, NOTE, KEY = "Packs confirmed", "Price confirmed", "Promised at our door", "Your note", "Key"
HOW_TO_CONFIRM = (
    "Please confirm each line in the coloured fields, or write what is different. A line whose fields are left blank "
    "is not confirmed. The sheet is locked without a password; leave the column Key as it is."
)


def _number(line: OrderSheetLine) -> str:
    yours = f"\nyours: {line.supplier_part_number}" if line.supplier_part_number else ""
    return f"{line.number}   {line.item.part_number}{yours}"


def _what(line: OrderSheetLine) -> str:
    return "\n".join((line.says_what, *line.asks))


def _pack(line: OrderSheetLine) -> Value:
    return None if line.pack_size is None else Decimal(line.pack_size.millionths) / ONE


COLUMNS: tuple[PaperColumn[OrderSheetLine], ...] = (
    PaperColumn("Line and number", 18, _number),
    PaperColumn("What we order", 38, _what),
    PaperColumn("Packs", 8, lambda line: line.packs, WHOLE),
    PaperColumn("In a pack", 9, _pack, AMOUNT),
    PaperColumn("Price per pack", 11, lambda line: line.price_per_pack, PRICE),
    PaperColumn("Comes to", 12, lambda line: line.value, MONEY),
    PaperColumn("Wanted at our door", 12, lambda line: line.promised_on or line.wanted_on, DAY),
    PaperColumn(PACKS, 11, None, WHOLE),
    PaperColumn(PRICED, 11, None, PRICE),
    PaperColumn(DAY_SAID, 12, None, DAY),
    PaperColumn(NOTE, 24),
    PaperColumn(KEY, 16, lambda line: line.number, small=True),
)
_PRINTED, _COMES_TO = len(COLUMNS) - 1, 6


def order_workbook(sheet: OrderSheet, shop_lines: Sequence[str]) -> bytes:
    """Write an order as a workbook of one sheet; ``shop_lines`` are the shop's name, address and contact."""
    book = StreamedBook()
    paper = SupplierPaper(book, SHEET, COLUMNS, _PRINTED)
    sent = sheet.order.sent_on if sheet.order else None
    for place, text in enumerate(shop_lines):
        paper.add_line(text, bold=None if place else 14, height=14 if place else 20)
    paper.add_line(f"Order {sheet.number} to {sheet.supplier}", bold=13, height=19)
    paper.add_line(f"Of {in_full(sent)}" if sent else "Draft: not sent")
    paper.add_line(f"Prices in {sheet.currency}" if sheet.currency else "")
    paper.add_line(HOW_TO_CONFIRM)
    top = paper.add_headings()
    for line in sheet.lines:
        if line.packs:
            paper.add_row(line, {} if line.value is None else {_COMES_TO: ("ROUND(C{row}*E{row},2)", line.value)})
    if sheet.total is not None:
        _add_totals(paper, top + 1, sheet.total, sheet.currency)
    paper.finish(top, f"Order {sheet.number}")
    return book.content()


def _add_totals(paper: SupplierPaper[OrderSheetLine], first: int, total: OrderTotal, currency: str) -> None:
    last = paper.rows.row
    paper.add_sum("Goods", _COMES_TO, MONEY, total.goods, f"SUM(F{first}:F{last})")
    for says, amount in (("Charge for a small order", total.small_order), ("Certificates", total.certificates)):
        if amount:
            paper.add_sum(says, _COMES_TO, MONEY, amount)
    summed = f"SUM(F{last + 1}:F{paper.rows.row})"
    paper.add_sum(f"Total, {currency}", _COMES_TO, MONEY, total.total, summed, bold=True)
