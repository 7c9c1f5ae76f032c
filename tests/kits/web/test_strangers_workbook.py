"""A stranger's workbook with a dozen traps: the page tells him what to do, row by row, and nothing is stored."""

from datetime import date

import pytest
from openpyxl.styles import numbers

from kits.catalog.models import Item, StructureLine
from kits.exchange.models import Upload
from kits.exchange.uploads.outcome import outcome_from_json
from kits.stock.models import Lot
from tests.kits.exchange.books import make_book
from tests.kits.web.shops import sheet_of
from tests.kits.web.test_upload import send

pytestmark = pytest.mark.django_db

SHEETS = {
    "Items": [
        ["part_number", "description", "kind", "stock_unit", "material", "shelf_life_years"],
        ["2-14", "a ring named by its dash size", "part", "each", None, None],
        ["0012", "a nut with zeros in front", "part", "each", None, None],
        ["3E10", "a ring named like a power", "part", "each", None, None],
        [1234567890123456789, "a number beyond fifteen digits", "part", "each", None, None],
        ["SE-9", "seat", "part", "pack", None, None],
        ["TOTAL", None, None, None, None, None],
    ],
    "Structure": [
        ["parent", "child", "quantity", "unit", "at_rebuild", "position"],
        ["E-1", date(2026, 2, 14), 1, None, "renew", "a"],
        ["E-1", 12, 1, None, "renew", "b"],
        ["E-1", 3e10, 1, None, "renew", "c"],
        ["E-1", "OR-O14", 1, None, "renew", "d"],
        ["E-1", "OR-014", "AR", None, "renew", "e"],
        ["E-1", "OR-014", "(2)", None, "renew", "f"],
        ["E-1", "CO-1", "1.234", "kg", "renew", "g"],
        ["E-1", "OR-014", 2, None, "renew", "h"],
        ["E-1", "OR-014", 3, None, "renew", "h"],
        ["E-1", "BA-1", "=1+1", None, "renew", "i"],
    ],
    "Lots": [
        ["part_number", "lot", "quantity", "place", "cure", "received"],
        ["OR-014", "L-8", "1,500", "A1", "4Q20", date(2026, 1, 5)],
        ["OR-014", "L-9", 5, "A1", "5Q20", date(1926, 1, 5)],
        ["OR-014", "L-7", 5, "A1", "4Q20", "03/04/2026"],
    ],
}


def spoil(book):
    """What a spreadsheet program does besides: two cells merged, a row hidden."""
    book["Lots"].merge_cells("A3:A4")
    book["Structure"].row_dimensions[4].hidden = True
    book["Structure"]["B2"].number_format = numbers.FORMAT_DATE_DDMMYY


TOLD = [
    "Lots row 3, part_number OR-014 the cells A3:A4 are merged, so only the first of them holds a value "
    "undo the merging",
    "Items row 5, part_number 1234567890123460000 a number of more than 15 digits",
    "Items row 6, stock_unit pack it is a pack, not a unit",
    "Items row 7, part_number TOTAL this row looks like a total, not an entry delete the row",
    "Structure row 2, child 2026-02-14 a spreadsheet turned it into a date, 14 Feb 2026 format the column as text and "
    "type it again; it may be 2-14",
    "Structure row 3, child 12 the cell holds the number 12: its leading zeros are lost",
    "it may be 0012",
    "Structure row 4, child 30000000000 the cell holds the number 30000000000: a spreadsheet read it as a number",
    "it may be 3E10",
    "Structure row 5, child OR-O14 there is no item OR-O14 did you mean OR-014?",
    "Structure row 6, quantity AR AR (as required) is no number write how many, or leave the line out",
    "Structure row 7, quantity (2) a number in brackets may mean less than nothing",
    "Structure row 8, unit kg CO-1 is kept in mm",
    "Structure row 10, parent E-1 the structure line E-1 / OR-014 / h stands twice, first in row 9",
    "Structure row 11, quantity formula without a stored result the cell holds a formula whose result was never stored",
    "Lots row 2, quantity 1,500 it may mean 1.500 or 1500 write 1.500 or 1500",
    "names quarter 5: a year has the quarters 1 to 4 write it as 4Q20, 2020-Q4 or a date",
    "Lots row 3, received 1926-01-05 the year 1926 lies in the wrong century",
    "Lots row 4, received 03/04/2026 it may mean 3 Apr 2026 or 4 Mar 2026 write 2026-04-03 or 2026-03-04",
    "Structure row 4: hidden rows were read all the same.",
]


@pytest.fixture
def told(small_shop, keeper):
    return sheet_of(send(keeper, make_book(SHEETS, spoil), "stranger.xlsx"))


def test_every_trap_is_told_with_its_place_its_value_and_its_remedy(told):
    assert [says for says in TOLD if says not in told] == []
    assert "18 problems: nothing was stored. Put them right in the file and upload it again" in told


def test_they_stand_in_the_order_of_the_rows_and_each_has_its_remedy(small_shop, keeper):
    send(keeper, make_book(SHEETS, spoil), "stranger.xlsx")
    problems = outcome_from_json(Upload.objects.get().outcome).problems
    sheets = list(SHEETS)
    places = [(sheets.index(problem.sheet), problem.row) for problem in problems]
    assert places == sorted(places)
    assert [problem.where for problem in problems if not problem.remedy] == []


def test_no_inner_word_of_the_program_is_on_the_page(told):
    assert [word for word in ("Unread", "None", "Error", "Traceback", "datetime") if word in told] == []


def test_nothing_of_it_is_stored(told):
    assert not Item.objects.filter(part_number__in=["2-14", "0012", "3E10", "SE-9"]).exists()
    assert not StructureLine.objects.filter(position__in="abcdefghi", parent__part_number="E-1").exists()
    assert not Lot.objects.filter(lot__in=["L-7", "L-8", "L-9"]).exists()
