"""Small files made for a test: a workbook from rows, or a text file, and what comes of loading them."""

import io
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

from openpyxl import Workbook, load_workbook

from kits.exchange.actions import check_files, load_files
from kits.exchange.files.sheet_file import SheetFile
from tests.kits.exchange.plain_book import is_plain, write_plain

AT = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
FIXTURES = Path(__file__).parents[3] / "demo_fixtures"

ITEMS = [
    ["part_number", "description", "kind", "stock_unit", "material", "shelf_life_years", "default_option"],
    ["P-1", "pump", "pump", "each", None, None, "compound=NBR"],
    ["E-1", "end", "assembly", "each", None, None, None],
    ["K-1", "seal kit", "kit", "each", None, None, None],
    ["OR-014", "O-ring", "part", "each", "NBR", 15, None],
    ["BA-1", "ball", "part", "each", "steel", None, None],
    ["CO-1", "cord", "part", "mm", "NBR", 15, None],
]
STRUCTURE = [
    ["parent", "child", "quantity", "unit", "at_rebuild", "renewals_per_100", "position"],
    ["P-1", "E-1", 2, None, "open", None, "ends"],
    ["E-1", "OR-014", 3, None, "renew", None, "gland"],
    ["E-1", "BA-1", 1, None, "inspect", 35, "ball"],
    ["E-1", "CO-1", 31, "cm", "renew", None, "cover"],
    ["K-1", "OR-014", 3, None, None, None, None],
]
SCOPES = [["pump", "scope", "section", "how_many"], ["P-1", "full", "E-1", 2]]
KIT_FITS = [["kit", "fits"], ["K-1", "E-1"]]
PLACES = [["place", "walk_order"], ["A1", 10], ["Q1", 90]]
LOTS = [
    ["part_number", "lot", "quantity", "place", "cure"],
    ["OR-014", "L-1", 12, "A1", "4Q24"],
    ["BA-1", "B-7", 3, "A1", None],
]
SUPPLIERS = [["supplier", "currency"], ["Ring House", "EUR"]]
OFFERS = [
    ["supplier", "part_number", "pack_size", "lead_time", "price_per_pack"],
    ["Ring House", "OR-014", 25, "2 w", 9.5],
]
ORDERS = [
    ["order", "line", "supplier", "part_number", "quantity", "promised"],
    ["PO-1", "1", "Ring House", "OR-014", 25, date(2026, 3, 20)],
]
SCHEDULE = [
    ["job", "pump", "scope", "build_date", "batch", "option"],
    ["J-1", "P-1", "full", date(2026, 3, 16), "spring", None],
]
SETTINGS = [["name", "value"], ["today", "2026-03-04"], ["currency", "EUR"]]
SHOP = {
    "Settings": SETTINGS,
    "Items": ITEMS,
    "Structure": STRUCTURE,
    "Scopes": SCOPES,
    "KitFits": KIT_FITS,
    "Places": PLACES,
    "Lots": LOTS,
    "Suppliers": SUPPLIERS,
    "Offers": OFFERS,
    "Orders": ORDERS,
    "Schedule": SCHEDULE,
}


def make_book(sheets, change=None):
    """The bytes of a workbook with these sheets; ``change`` may do to it what a spreadsheet program does."""
    if change is None and is_plain(sheets):
        return write_plain(sheets)
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append([float(value) if isinstance(value, Decimal) else value for value in row])
    if change is not None:
        change(book)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def book_file(sheets, change=None, name="lists.xlsx"):
    return SheetFile(name, make_book(sheets, change))


def text_file(name, text, encoding="utf-8"):
    return SheetFile(name, text.encode(encoding))


def load_sheets(sheets, change=None, replaced=()):
    return load_files(files=[book_file(sheets, change)], by=None, at=AT, replaced=replaced)


def check_sheets(sheets, change=None):
    return check_files(files=[book_file(sheets, change)], at=AT)


def items(*rows, headings=("part_number", "description", "kind", "stock_unit")):
    return {"Items": [list(headings), *[list(row) for row in rows]]}


def with_row(sheet, *row):
    """The whole small shop with one more row in one sheet."""
    return {**SHOP, sheet: [*SHOP[sheet], list(row)]}


def with_cell(sheet, row, column, value):
    """The whole small shop with one cell of one sheet changed; rows as a spreadsheet counts them."""
    rows = [list(one) for one in SHOP[sheet]]
    if column not in rows[0]:
        rows = [[*one, column if number == 0 else None] for number, one in enumerate(rows)]
    rows[row - 1][rows[0].index(column)] = value
    return {**SHOP, sheet: rows}


def only_problem(outcome):
    """The one problem of an outcome."""
    assert len(outcome.problems) == 1, [problem.says for problem in outcome.problems]
    return outcome.problems[0]


def remarks_of(outcome):
    return " | ".join(remark.says for remark in outcome.remarks)


def with_answers_only(content):
    """A shortage workbook with the sheets alone that a reply is read from: it is opened and saved in every test."""
    book, out = load_workbook(io.BytesIO(content)), io.BytesIO()
    for name in set(book.sheetnames) - {"Shortages", "Expedite", "About"}:
        del book[name]
    book.save(out)
    return out.getvalue()
