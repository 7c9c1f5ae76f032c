"""A request to a supplier as a workbook: what he needs to know, fields for his answer, and nothing of the shop's own.

What is asked is locked, without a password; fields for the answer are filled with colour and open. Twelve columns are
printed, one page wide; the rest stands beside them: more of the answer, the same facts one to a cell, and last the key.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from bom.values import ONE
from kits.catalog.days.words import in_full
from kits.exchange.workbooks.report_sheet import AMOUNT, WHOLE
from kits.exchange.workbooks.streamed_book import DAY, TEXT, StreamedBook
from kits.exchange.workbooks.supplier_paper import PaperColumn, SupplierPaper
from kits.purchasing.asking.request_list import AskedRow, RequestSheet

SHEET = "Request"
PRICE = "#,##0.00##"
NO_BID = "no bid"
PRINTED = 12


def _our_number(line: AskedRow) -> str:
    yours = f"\nyours: {line.supplier_part_number}" if line.supplier_part_number else ""
    return f"{line.place}   {line.part_number}{yours}"


def _description(line: AskedRow) -> str:
    return "\n".join(filter(None, (line.description, line.details)))


def _asked_for(line: AskedRow) -> str:
    return "\n".join(filter(None, (line.quantity.text, line.packs_say)))


COLUMNS: tuple[PaperColumn[AskedRow], ...] = (
    PaperColumn("Line and number", 17, _our_number),
    PaperColumn("What we ask for", 40, _description),
    PaperColumn("How many", 13, _asked_for),
    PaperColumn("Wanted at our door", 11, lambda line: line.wanted_on or "when you can", DAY),
    PaperColumn("Price per pack", 10, None, PRICE),
    PaperColumn("Pack size", 8, None, AMOUNT),
    PaperColumn("Packs", 8, None, WHOLE),
    PaperColumn("Promised at our door", 11, None, DAY),
    PaperColumn("The rest on", 11, None, DAY),
    PaperColumn("Alternative number", 13),
    PaperColumn("No bid", 8),
    PaperColumn("Your note", 15),
    PaperColumn("Price holds until", 11, None, DAY),
    PaperColumn("From packs", 8, None, WHOLE),
    PaperColumn("Price per pack from there", 10, None, PRICE),
    PaperColumn("From packs, next", 8, None, WHOLE),
    PaperColumn("Price per pack from there, next", 10, None, PRICE),
    PaperColumn("Our number", 14, lambda line: line.part_number),
    PaperColumn("Your number", 14, lambda line: line.supplier_part_number),
    PaperColumn("Maker code", 10, lambda line: line.maker_code),
    PaperColumn("Maker number", 14, lambda line: line.maker_number),
    PaperColumn("Description", 34, lambda line: line.description),
    PaperColumn("Size, inch", 18, lambda line: line.inch),
    PaperColumn("Size, mm", 18, lambda line: line.metric),
    PaperColumn("Compound", 12, lambda line: line.compound),
    PaperColumn("Hardness", 9, lambda line: line.hardness),
    PaperColumn("Quantity", 9, lambda line: Decimal(line.quantity.millionths) / ONE, AMOUNT),
    PaperColumn("Unit", 6, lambda line: line.unit),
    PaperColumn("Packs asked for", 9, lambda line: line.packs, WHOLE),
    PaperColumn("Pack as sold", 9, lambda line: line.pack_size, AMOUNT),
    PaperColumn("Oldest cure quarter", 10, lambda line: line.oldest_cure),
    PaperColumn("Certificate", 10, lambda line: "yes" if line.with_certificate else ""),
    PaperColumn("Our note", 24, lambda line: line.note),
    PaperColumn("Key", 14, lambda line: line.key, small=True),
)
HOW_TO_ANSWER = (
    "Please fill in the coloured fields. Packs are those of the promised day; the others come on the day under The "
    "rest on. Choose no bid where you offer nothing.",
    "Price breaks, and until when a price holds, have fields to the right of the printed page. The sheet is locked "
    "without a password; leave the column Key as it is.",
)


def request_workbook(sheet: RequestSheet) -> bytes:
    """Write the request as a workbook of one sheet: the two parties, how to answer, then the lines."""
    book, request = StreamedBook(), sheet.request
    paper = SupplierPaper(book, SHEET, COLUMNS, PRINTED)
    paper.add_line(sheet.shop_name or "Request for a quotation", bold=14, height=20)
    for text in (*sheet.shop_address, *sheet.shop_contact, ""):
        paper.add_line(text)
    paper.add_line(f"Request {request.number} to {request.supplier}", bold=13, height=19)
    paper.add_line("Asked on", in_full(request.asked_on))
    paper.add_line("Reply by", in_full(request.reply_by), bold=0)
    if sheet.currency:
        paper.add_line("Prices in", sheet.currency)
    if sheet.note:
        paper.add_line(sheet.note)
    for text in HOW_TO_ANSWER:
        paper.add_line(text)
    top = paper.add_headings()
    for line in sheet.lines:
        paper.add_row(line)
    paper.finish(top, f"Request {request.number}")
    for place, column in enumerate(COLUMNS, start=1):
        if column.value_of is None:
            letter, rule = get_column_letter(place), _rule(column)
            rule.add(f"{letter}{top + 1}:{letter}{max(paper.rows.row, top + 1)}")
            paper.page.data_validations.append(rule)
    return book.content()


def _rule(column: PaperColumn[AskedRow]) -> DataValidation:
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
