"""Rows that are no entries, and what a sheet shows beside its values."""

import pytest

from kits.catalog.models import Item
from kits.exchange.columns.catalog_layouts import ITEMS
from kits.exchange.columns.layout import fold_heading, headings_of
from kits.exchange.columns.layouts import LAYOUTS, find_layout
from kits.exchange.files.raw_sheets import RawRow, RawSheet
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.headings import find_headings
from tests.kits.exchange.books import (
    SHOP,
    check_sheets,
    items,
    load_sheets,
    only_problem,
    remarks_of,
    with_cell,
    with_row,
)

pytestmark = pytest.mark.django_db
ROW = ("X-1", "thing", "part", "each")


@pytest.mark.parametrize(
    "headings",
    [
        ("Part Number", "DESCRIPTION", "Kind", "stock unit"),
        ("part_number", "description", "kind", "STOCK_UNIT"),
        ("Number", "name", "kind", "unit"),
    ],
)
def test_headings_are_matched_without_case_spaces_and_underscores_and_by_older_words(headings):
    assert load_sheets(items(ROW, headings=headings)).stored
    assert Item.objects.get().description == "thing"


def test_an_unknown_column_is_said_and_not_fatal():
    outcome = load_sheets(items((*ROW, 1), headings=("part_number", "description", "kind", "stock_unit", "lead_tme")))
    assert outcome.stored
    assert "lead_tme: this column is not known and was not read; is lead_time meant" in remarks_of(outcome)


def test_a_missing_column_is_a_problem():
    problem = only_problem(check_sheets(items(ROW[:3], headings=("part_number", "description", "kind"))))
    assert (problem.column, problem.reason) == ("stock_unit", "this column is missing")


def test_a_heading_that_stands_twice_is_a_problem():
    sheets = items((*ROW, "again"), headings=("part_number", "description", "kind", "stock_unit", "Description"))
    assert "stands twice, in columns B and E" in only_problem(check_sheets(sheets)).reason


def test_a_title_above_the_headings_is_not_read():
    sheets = {"Items": [["Our list of parts"], [], *items(ROW)["Items"]]}
    outcome = load_sheets(sheets)
    assert outcome.stored
    assert "Items row 1: rows above the headings were not read" in remarks_of(outcome)


def test_a_sheet_without_headings_is_a_problem():
    assert "no row of headings" in only_problem(check_sheets({"Items": [["X-1", "thing"], ["X-2", "other"]]})).reason


def test_a_group_title_among_the_rows_is_a_problem():
    problem = only_problem(check_sheets(items(ROW, ("O-rings, air side",), ("X-2", *ROW[1:]))))
    assert (problem.row, problem.value) == (3, "O-rings, air side")
    assert "looks like a title" in problem.reason


def test_repeated_headings_are_a_problem():
    problem = only_problem(check_sheets(items(ROW, ("Part number", "description", "kind", "stock unit"))))
    assert (problem.row, problem.reason) == (3, "this row repeats the headings")


@pytest.mark.parametrize("word", ["Total", "SUM", "Sub-total", "Grand total"])
def test_a_total_is_a_problem(word):
    problem = only_problem(check_sheets({**SHOP, "Orders": [*SHOP["Orders"], [None, None, word, None, 25, None]]}))
    assert "looks like a total" in problem.reason


def test_merged_cells_among_the_data_are_a_problem():
    def merge(book):
        book["Structure"].merge_cells("A3:A5")

    outcome = check_sheets(SHOP, merge)
    merged = [problem for problem in outcome.problems if "merged" in problem.reason]
    assert [(problem.row, problem.column, problem.value) for problem in merged] == [(3, "parent", "E-1")]
    assert merged[0].reason.startswith("the cells A3:A5 are merged")


def test_merged_cells_above_the_headings_are_none():
    def merge(book):
        book["Items"].insert_rows(1)
        book["Items"]["A1"] = "Parts"
        book["Items"].merge_cells("A1:D1")

    assert not check_sheets(SHOP, merge).problems


def test_hidden_rows_columns_and_sheets_are_read_and_said():
    def hide(book):
        book["Items"].row_dimensions[5].hidden = True
        book["Items"].column_dimensions["E"].hidden = True
        book["Places"].sheet_state = "hidden"

    outcome = load_sheets(SHOP, hide)
    assert outcome.stored
    said = remarks_of(outcome)
    assert "Items row 5: hidden rows were read all the same" in said
    assert "material: this column is hidden" in said
    assert "Places: this sheet is hidden" in said


def test_a_formula_without_a_stored_result_is_a_problem():
    problem = only_problem(check_sheets(with_cell("Structure", 3, "quantity", "=1+2")))
    assert (problem.row, problem.column) == (3, "quantity")
    assert "formula whose result was never stored" in problem.reason
    assert "save it" in problem.remedy


def test_an_error_value_is_a_problem():
    def break_it(book):
        book["Structure"]["C3"].value = "#N/A"
        book["Structure"]["C3"].data_type = "e"

    assert "the error #N/A" in only_problem(check_sheets(SHOP, break_it)).reason


def test_the_same_key_twice_is_a_problem_however_it_is_spelled():
    problem = only_problem(check_sheets(with_row("Structure", "e-1 ", "or–014", 4, None, "keep", None, "GLAND")))
    assert problem.row == 7
    assert problem.reason == "the structure line E-1 / OR-014 / GLAND stands twice, first in row 3"


def test_a_key_is_quoted_as_it_was_typed():
    offer = ("Ring House", "OR-014", "NS-14", 25, 4)
    sheets = SHOP | {
        "Offers": [["supplier", "part_number", "supplier_part_number", "pack_size", "price_per_pack"], offer, offer]
    }
    assert "the offer Ring House / OR-014 / NS-14 / 25 stands twice" in only_problem(check_sheets(sheets)).reason


def test_the_same_child_at_another_position_is_no_duplicate():
    assert not check_sheets(with_row("Structure", "E-1", "OR-014", 1, None, "renew", None, "nose")).problems


def test_every_problem_of_the_whole_workbook_is_collected():
    sheets = with_cell("Items", 5, "shelf_life_years", None)
    sheets["Structure"] = [
        *SHOP["Structure"],
        ["E-1", "OR-99", 1, None, "renew", None, "x"],
        ["E-1", "BA-1", "V", None, "renw", None, "y"],
    ]
    sheets["Schedule"] = [*SHOP["Schedule"], ["J-2", "P-1", "fll", "2026-13-01", None, None]]
    found = [(problem.sheet, problem.row, problem.column) for problem in check_sheets(sheets).problems]
    assert sorted(found) == [
        ("Items", 5, "shelf_life_years"),
        ("Schedule", 3, "build_date"),
        ("Schedule", 3, "scope"),
        ("Structure", 7, "child"),
        ("Structure", 8, "at_rebuild"),
        ("Structure", 8, "quantity"),
    ]


def test_blank_rows_are_passed_over():
    assert load_sheets({"Items": [*items(ROW)["Items"], [], [None, "  "], ["X-2", *ROW[1:]]]}).stored
    assert Item.objects.count() == 2


def test_no_two_sheets_and_no_two_columns_share_a_heading():
    assert {find_layout(sheet.name) for sheet in LAYOUTS} == set(LAYOUTS)
    for sheet in LAYOUTS:
        known = headings_of(sheet)
        assert all(known[fold_heading(column.name)] is column for column in sheet.columns)


def test_headings_are_looked_for_near_the_top_only():
    rows = [RawRow(number, ["x"]) for number in range(1, 30)] + [RawRow(30, ["part_number", "description", "kind"])]
    findings = Findings()
    assert find_headings(RawSheet("a.xlsx", "Items", rows), ITEMS, findings) is None
    assert findings.problems
