"""A request to a supplier as a workbook: what he needs to know, fields for his answer, and nothing of the shop's own.

What is asked is locked, without a password; fields for the answer are filled with colour and open. Twelve columns are
printed, one page wide; the rest stands beside them: more of the answer, the same facts one to a cell, and last the key.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from openpyxl.styles import Alignment, Border, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from bom.values import ONE
from kits.exchange.workbooks.report_sheet import AMOUNT, WHOLE
from kits.exchange.workbooks.sheet_looks import own_font, set_print
from kits.exchange.workbooks.streamed_book import DAY, TEXT, ColumnCells, Dress, StreamedBook, Value, heading_row
from kits.purchasing.asking.request_list import AskedRow, RequestSheet

SHEET = "Request"
PRICE = "#,##0.00##"
NO_BID = "no bid"
FILL = PatternFill("solid", fgColor="FFF6D6")
PRINTED = 12
_LINE = 12.5
A4 = 9


@dataclass(frozen=True, slots=True)
class RequestColumn:
    """A column of a request; one without a value is for the answer. ``small`` is written small."""

    words: str
    width: int
    value_of: Callable[[AskedRow], Value] | None = None
    shown_as: str = TEXT
    small: bool = False


def _our_number(line: AskedRow) -> str:
    yours = f"\nyours: {line.supplier_part_number}" if line.supplier_part_number else ""
    return f"{line.place}   {line.part_number}{yours}"


def _description(line: AskedRow) -> str:
    return "\n".join(filter(None, (line.description, line.details)))


def _asked_for(line: AskedRow) -> str:
    return "\n".join(filter(None, (line.quantity.text, line.packs_say)))


COLUMNS = (
    RequestColumn("Line and number", 17, _our_number),
    RequestColumn("What we ask for", 40, _description),
    RequestColumn("How many", 13, _asked_for),
    RequestColumn("Wanted at our door", 11, lambda line: line.wanted_on or "when you can", DAY),
    RequestColumn("Price per pack", 10, None, PRICE),
    RequestColumn("Pack size", 8, None, AMOUNT),
    RequestColumn("Packs", 8, None, WHOLE),
    RequestColumn("Promised at our door", 11, None, DAY),
    RequestColumn("The rest on", 11, None, DAY),
    RequestColumn("Alternative number", 13),
    RequestColumn("No bid", 8),
    RequestColumn("Your note", 15),
    RequestColumn("Price holds until", 11, None, DAY),
    RequestColumn("From packs", 8, None, WHOLE),
    RequestColumn("Price per pack from there", 10, None, PRICE),
    RequestColumn("From packs, next", 8, None, WHOLE),
    RequestColumn("Price per pack from there, next", 10, None, PRICE),
    RequestColumn("Our number", 14, lambda line: line.part_number),
    RequestColumn("Your number", 14, lambda line: line.supplier_part_number),
    RequestColumn("Maker code", 10, lambda line: line.maker_code),
    RequestColumn("Maker number", 14, lambda line: line.maker_number),
    RequestColumn("Description", 34, lambda line: line.description),
    RequestColumn("Size, inch", 18, lambda line: line.inch),
    RequestColumn("Size, mm", 18, lambda line: line.metric),
    RequestColumn("Compound", 12, lambda line: line.compound),
    RequestColumn("Hardness", 9, lambda line: line.hardness),
    RequestColumn("Quantity", 9, lambda line: Decimal(line.quantity.millionths) / ONE, AMOUNT),
    RequestColumn("Unit", 6, lambda line: line.unit),
    RequestColumn("Packs asked for", 9, lambda line: line.packs, WHOLE),
    RequestColumn("Pack as sold", 9, lambda line: line.pack_size, AMOUNT),
    RequestColumn("Oldest cure quarter", 10, lambda line: line.oldest_cure),
    RequestColumn("Certificate", 10, lambda line: "yes" if line.with_certificate else ""),
    RequestColumn("Our note", 24, lambda line: line.note),
    RequestColumn("Key", 14, lambda line: line.key, small=True),
)
HOW_TO_ANSWER = (
    "Please fill in the coloured fields. Packs are those of the promised day; the others come on the day under The "
    "rest on. Choose no bid where you offer nothing.",
    "Price breaks, and until when a price holds, have fields to the right of the printed page. The sheet is locked "
    "without a password; leave the column Key as it is.",
)


def request_workbook(sheet: RequestSheet) -> bytes:
    """Write the request as a workbook of one sheet."""
    book = StreamedBook()
    writer = _Writer(book, sheet)
    writer.write()
    return book.content()


class _Writer:
    """Writes one request from top to bottom."""

    def __init__(self, book: StreamedBook, sheet: RequestSheet) -> None:
        self.sheet, self.rows = sheet, book.add_sheet(SHEET)
        self.page: Any = self.rows.page
        for place, column in enumerate(COLUMNS, start=1):
            self.page.column_dimensions[get_column_letter(place)].width = column.width

    def write(self) -> None:
        """Title, the two parties, how to answer, then the lines."""
        sheet, request = self.sheet, self.sheet.request
        self._line({1: sheet.shop_name or "Request for a quotation"}, _bold(14), height=20)
        for text in (*sheet.shop_address, *sheet.shop_contact):
            self._line({1: text})
        self._line({})
        self._line({1: f"Request {request.number} to {request.supplier}"}, _bold(13), height=19)
        self._line({1: "Asked on", 2: f"{request.asked_on:%Y-%m-%d}"})
        self._line({1: "Reply by", 2: f"{request.reply_by:%Y-%m-%d}"}, _bold(None))
        if sheet.currency:
            self._line({1: "Prices in", 2: sheet.currency})
        if sheet.note:
            self._line({1: sheet.note})
        for text in HOW_TO_ANSWER:
            self._line({1: text})
        top = self.rows.row + 1
        dresses = [_heading(column) for column in COLUMNS]
        self.rows.append(heading_row(self.rows, top, [one.words for one in COLUMNS], dresses), 2 * _LINE + 4)
        cells = [
            ColumnCells(self.rows, place, column.shown_as, _cell(column))
            for place, column in enumerate(COLUMNS, start=1)
        ]
        for row, line in enumerate(sheet.lines, start=top + 1):
            values = [None if one.value_of is None else one.value_of(line) for one in COLUMNS]
            self.rows.append(
                [cell.cell(row, value) for cell, value in zip(cells, values, strict=True)], _height(values)
            )
        self._finish(top)

    def _line(self, texts: dict[int, str], dress: Dress | None = None, height: float = 14) -> None:
        row = self.rows.row + 1
        self.rows.append(
            [ColumnCells(self.rows, place, TEXT, dress).cell(row, text) for place, text in texts.items()], height
        )

    def _finish(self, top: int) -> None:
        page, last = self.page, self.rows.row
        set_print(page, top, 1)
        page.print_area = f"A1:{get_column_letter(PRINTED)}{last}"
        page.page_setup.paperSize = A4
        page.oddFooter.left.text = f"Request {self.sheet.request.number}"
        page.protection.sheet = True
        for allowed in ("formatColumns", "formatRows", "sort", "autoFilter"):
            setattr(page.protection, allowed, False)
        for place, column in enumerate(COLUMNS, start=1):
            if column.value_of is None:
                letter = get_column_letter(place)
                rule = _rule(column)
                rule.add(f"{letter}{top + 1}:{letter}{max(last, top + 1)}")
                page.data_validations.append(rule)


def _rule(column: RequestColumn) -> DataValidation:
    """What a field takes. It warns and does not refuse: whoever writes “18.00 EUR” is understood as well."""
    kinds: dict[str, dict[str, Any]] = {
        PRICE: {"type": "decimal", "operator": "greaterThanOrEqual", "formula1": "0"},
        AMOUNT: {"type": "decimal", "operator": "greaterThan", "formula1": "0"},
        WHOLE: {"type": "whole", "operator": "greaterThanOrEqual", "formula1": "0"},
        DAY: {"type": "date", "operator": "greaterThan", "formula1": "36526"},
    }
    says = {
        PRICE: "A price in digits, such as 18.50.",
        AMOUNT: "How many are in one pack.",
        WHOLE: "A whole number of packs.",
        DAY: "A day, such as 2026-03-17.",
    }
    if column.words == "No bid":
        rule = DataValidation(type="list", formula1=f'"{NO_BID}"', allow_blank=True, errorStyle="warning")
        rule.prompt = "Choose no bid where you offer nothing."
    elif column.shown_as == TEXT:
        rule = DataValidation(type="textLength", operator="lessThanOrEqual", formula1="400", allow_blank=True)
    else:
        rule = DataValidation(**kinds[column.shown_as], allow_blank=True, errorStyle="warning")
        rule.prompt = rule.error = says[column.shown_as]
    rule.showInputMessage = rule.showErrorMessage = True
    return rule


def _bold(size: float | None) -> Dress:
    def dress(cell: Any) -> None:
        cell.font = own_font(bold=True, size=size)

    return dress


def _heading(column: RequestColumn) -> Dress:
    def dress(cell: Any) -> None:
        cell.font = own_font(bold=True, size=8 if column.small else 10)
        cell.border = Border(bottom=Side(style="medium"))
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        if column.value_of is None:
            cell.fill = FILL

    return dress


def _cell(column: RequestColumn) -> Dress:
    def dress(cell: Any) -> None:
        beside = Side(style="hair", color="999999") if column.value_of is None else None
        cell.border = Border(bottom=Side(style="hair", color="999999"), left=beside, right=beside)
        cell.alignment = Alignment(wrap_text=True, vertical="top", horizontal="left")
        cell.font = own_font(size=7 if column.small else 10, color="808080" if column.small else None)
        if column.value_of is None:
            cell.fill, cell.protection = FILL, Protection(locked=False)

    return dress


def _height(values: list[Value]) -> float:
    most = 1
    for column, value in zip(COLUMNS[:PRINTED], values, strict=False):
        if isinstance(value, str):
            width = column.width - 1
            most = max(most, sum(max(1, -(-len(line) // width)) for line in value.split("\n")))
    return 5 + _LINE * most
