"""Whatever is wrong with a list, it is quoted as it was typed: the value of the cell, its row, its heading."""

from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kits.exchange.actions import check_files
from kits.exchange.columns.layouts import BY_NAME
from kits.exchange.problems.findings import quote_value
from tests.kits.exchange.books import AT, SHOP, check_sheets, only_problem, text_file, with_cell

pytestmark = pytest.mark.django_db

EVERY_SHEET = {
    **SHOP,
    "Items": [
        [*SHOP["Items"][0], "source", "get_as", "minimum", "maximum", "lead_time", "safety_stock", "resealed_usable"],
        *([*row, None, None, None, None, None, None, None] for row in SHOP["Items"][1:]),
        ["SE-1", "seat", "part", "each", "PEEK", None, None, "in_kit_only", "K-1", 2, 8, "2 w", 1, "yes"],
    ],
    "Structure": [
        [*SHOP["Structure"][0], "option", "quantity_is_for", "pump", "from_date", "to_date", "wetted"],
        *([*row, None, None, None, None, None, None] for row in SHOP["Structure"][1:]),
        ["E-1", "SE-1", 4, "each", "renew", None, "seat", "compound=NBR", "whole_pump", "P-1", None, None, "no"],
        ["K-1", "SE-1", 2, None, None, None, None, None, None, None, date(2026, 1, 1), date(2027, 1, 1), None],
    ],
    "Scopes": [["pump", "scope", "section", "how_many", "use_kits", "option"], ["P-1", "full", "E-1", 2, "yes", None]],
    "KitFits": [["kit", "fits", "option", "instances", "set"], ["K-1", "E-1", None, 1, None]],
    "FindingRules": [
        ["finding", "assembly", "effect", "part_number", "quantity", "unit"],
        ["metal in the oil", "E-1", "add", "OR-014", 1, "each"],
        ["honed", "E-1", "renew", "BA-1", None, None],
    ],
    "Substitutes": [["part_number", "substitute", "direction"], ["BA-1", "SE-1", "one_way"]],
    "Suppliers": [
        ["supplier", "currency", "transit_days", "closed_from", "closed_to"],
        ["Ring House", "EUR", 2, None, None],
    ],
    "Offers": [
        [*SHOP["Offers"][0], "minimum_packs", "price_from_packs", "valid_to"],
        [*SHOP["Offers"][1], 1, 1, date(2027, 1, 1)],
        ["Ring House", "OR-014", 25, 10, 9, 1, 4, None],
    ],
    "Places": [["place", "walk_order", "kind"], ["A1", 10, "bin"], ["Q1", 90, "quarantine"]],
    "Lots": [
        [*SHOP["Lots"][0], "unit", "received", "packet", "owner"],
        ["OR-014", "L-1", 12, "A1", "4Q24", "each", date(2025, 2, 3), "sealed", None],
        ["BA-1", "B-7", 3, "A1", None, None, None, None, None],
        ["K-1", "KL-1", 2, "A1", None, None, None, None, None],
    ],
    "KitContents": [
        ["part_number", "lot", "holds", "of_lot", "quantity", "unit", "owed"],
        ["K-1", "KL-1", "OR-014", "L-1", 3, "each", 0],
    ],
    "Schedule": [
        [*SHOP["Schedule"][0], "quantity", "priority", "serial", "strip_date", "stage"],
        ["J-1", "P-1", "full", date(2026, 3, 16), "spring", "compound=NBR", 1, 5, "S-7", date(2026, 3, 9), "stripped"],
    ],
    "OtherNeeds": [
        ["need", "part_number", "quantity", "unit", "need_date"],
        ["van", "OR-014", 2, None, date(2026, 4, 10)],
    ],
    "Issued": [
        ["job", "part_number", "lot", "quantity", "state", "place"],
        ["J-1", "OR-014", "L-1", 1, "reserved", "A1"],
    ],
    "Verdicts": [
        ["job", "where", "part_number", "verdict", "found", "with_group"],
        ["J-1", "pump 1 / E-1 1 / ball", "BA-1", "renew", "pitted", None],
    ],
    "Findings": [["job", "finding", "section", "found_on"], ["J-1", "honed", "E-1", date(2026, 3, 10)]],
    "Holidays": [["date", "name"], [date(2026, 4, 3), "closed"]],
    "Settings": [*SHOP["Settings"], ["staging_days", 1], ["years_ahead", 2]],
}
DAMAGE = [
    None,
    "",
    "  ",
    "nonsense",
    " J-1 ",
    "or–014",
    "OR-014",
    "P-1",
    "K-1",
    "E-1",
    "BA-1",
    "compound=EPDM",
    "depth=all",
    "compound",
    "renew",
    "open",
    "mm",
    "furlong",
    "no",
    0,
    -3,
    2.5,
    9e9,
    1000000000000000.0,
    True,
    "1,5",
    "12 pcs",
    "1.234",
    "3/4/2026",
    date(2019, 3, 15),
    date(2031, 3, 15),
    "31.02.2026",
    "1Q31",
    "4 w",
    "x" * 700,
]
CELLS = [
    (sheet, row, heading)
    for sheet, rows in EVERY_SHEET.items()
    for row in range(2, len(rows) + 1)
    for heading in rows[0]
]


def told(outcome):
    return [*outcome.problems, *outcome.questions]


def damaged(sheets, sheet, row, heading, value):
    rows = [list(one) for one in sheets[sheet]]
    rows[row - 1][rows[0].index(heading)] = value
    return {**sheets, sheet: rows}


def wrong_quotes(sheets, outcome):
    """The problems and questions that do not quote the cell at their place."""
    for one in told(outcome):
        rows = sheets.get(one.sheet)
        if rows is None or one.row is None or not one.column:
            continue
        place = rows[0].index(one.column) if one.column in rows[0] else None
        typed = None if place is None else rows[one.row - 1][place]
        wanted = "" if isinstance(typed, str) and not typed.strip() else quote_value(typed)
        if one.value != wanted:
            yield one.says, wanted


def test_the_whole_shop_is_sound():
    outcome = check_sheets(EVERY_SHEET)
    assert set(EVERY_SHEET) == set(BY_NAME), "every sheet there is"
    assert not told(outcome), [one.says for one in told(outcome)]


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.sampled_from(CELLS), st.sampled_from(DAMAGE)), min_size=2, max_size=4))
def test_damaged_cell_is_quoted_as_it_was_typed(damage):
    sheets = EVERY_SHEET
    for cell, value in damage:
        sheets = damaged(sheets, *cell, value)
    assert list(wrong_quotes(sheets, check_sheets(sheets))) == []


def test_blank_cell_has_no_value():
    """The engine asks for an option that the job leaves open; the row has a number, but not in that cell."""
    sheets = damaged(EVERY_SHEET, "Schedule", 2, "option", None)
    sheets = damaged(sheets, "Items", 2, "default_option", None)
    problem = only_problem(check_sheets(sheets))
    assert (problem.column, problem.value) == ("option", "")
    assert problem.where == "lists.xlsx, Schedule row 2, option"


def test_a_place_for_each_of_nine_billion_pieces_is_refused_where_a_pump_would_be_stripped():
    problem = only_problem(check_sheets(damaged(EVERY_SHEET, "Structure", 4, "quantity", 9e9)))
    assert "18000000000 places to open or look at, more than the 100000" in problem.says
    assert problem.sheet == "Schedule"


def test_quantity_is_quoted_in_the_unit_that_it_was_typed_in():
    problem = only_problem(check_sheets(damaged(EVERY_SHEET, "Structure", 5, "unit", "kg")))
    assert (problem.column, problem.value) == ("unit", "kg")
    problem = only_problem(check_sheets(damaged(EVERY_SHEET, "Issued", 2, "quantity", 2.5)))
    assert (problem.column, problem.value) == ("quantity", "2.5")


def test_name_is_quoted_as_typed_and_not_as_the_shop_spells_it():
    sheets = damaged(EVERY_SHEET, "Structure", 8, "pump", " e–1")
    assert 'Structure row 8, pump " e–1": E-1 is an assembly, not a pump' in only_problem(check_sheets(sheets)).says


def test_row_that_stands_twice_is_quoted_by_its_own_cell():
    twice = {**SHOP, "Places": [*SHOP["Places"], [" a1", 7]]}
    problem = only_problem(check_sheets(twice))
    assert (problem.row, problem.column, problem.value) == (4, "place", " a1")


@pytest.mark.parametrize(("typed", "place"), [("Build Date", "Build Date"), ("build", "build (build_date)")])
def test_heading_is_quoted_as_it_was_typed(typed, place):
    rows = [[typed if one == "build_date" else one for one in SHOP["Schedule"][0]], *SHOP["Schedule"][1:]]
    rows = [rows[0], [*rows[1][:3], "soon", *rows[1][4:]]]
    assert only_problem(check_sheets({**SHOP, "Schedule": rows})).where == f"lists.xlsx, Schedule row 2, {place}"


def test_percentage_is_quoted_as_it_is_shown():
    def in_percent(book):
        book["Structure"]["F4"].number_format = "0 %"

    outcome = check_sheets(with_cell("Structure", 4, "renewals_per_100", 1.2), in_percent)
    assert only_problem(outcome).value == "120%"


def test_text_file_is_quoted_with_its_spaces():
    text = "place,walk_order\nA1,  ten \n"
    outcome = check_files(files=[text_file("places.csv", text)], by=None, at=AT)
    assert only_problem(outcome).value == "  ten "


def test_endless_word_is_cut_in_the_reason_too():
    problem = only_problem(check_sheets(with_cell("Structure", 3, "unit", "x" * 700)))
    assert len(problem.says) < 300
    assert "the unit 'xxxxx" in problem.reason


def test_lot_without_a_name_leaves_the_rest_to_be_looked_at():
    problem = only_problem(check_sheets(damaged(EVERY_SHEET, "Lots", 3, "lot", date(2019, 3, 15))))
    assert (problem.sheet, problem.row, problem.column, problem.value) == ("Lots", 3, "lot", "2019-03-15")
