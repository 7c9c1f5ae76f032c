"""What a spreadsheet makes of part numbers is caught, and only what could have been meant is offered."""

from datetime import date, datetime

import pytest

from kits.catalog.models import Item
from kits.exchange.actions import load_files
from kits.exchange.reading.cells.known_marks import KnownMarks, days_read_into
from tests.kits.exchange.books import (
    AT,
    SHOP,
    check_sheets,
    items,
    load_sheets,
    only_problem,
    remarks_of,
    text_file,
    with_cell,
    with_row,
)

pytestmark = pytest.mark.django_db
RING = ("O-ring", "part", "each")


def line(child):
    return with_row("Structure", "E-1", child, 1, None, "renew", None, "spare")


def with_numbers(*numbers, others=""):
    return {
        **SHOP,
        "Items": [
            [*SHOP["Items"][0], "other_numbers"],
            *[[*row, None] for row in SHOP["Items"][1:]],
            *[[number, *RING, "PTFE", None, None, others] for number in numbers],
        ],
    }


def structure_of(sheets, child):
    return {**sheets, "Structure": [*sheets["Structure"], ["E-1", child, 1, None, "renew", None, "spare"]]}


def test_numbers_that_look_like_numbers_come_back_exactly_as_they_went():
    numbers = ("0012", "2-012", "003E5", "3E10", "1.10", "+1", "12/5", "MAR1", "5E-3", "1234567890123456789")
    assert load_sheets(items(*[(number, *RING) for number in numbers])).stored
    assert set(Item.objects.values_list("part_number", flat=True)) == set(numbers)


@pytest.mark.parametrize(
    ("known", "cell", "says"),
    [
        ("0012", 12, "its leading zeros are lost"),
        ("3E10", 3e10, "a spreadsheet read it as a number"),
        ("003E5", 300000, "a spreadsheet read it as a number"),
        ("1.10", 1.1, "a spreadsheet read it as a number"),
    ],
)
def test_a_number_cell_offers_the_number_it_was(known, cell, says):
    problem = only_problem(check_sheets(structure_of(with_numbers(known, "0013"), cell)))
    assert (problem.sheet, problem.column) == ("Structure", "child")
    assert says in problem.reason
    assert problem.remedy.endswith(f"it may be {known}")


def test_twelve_and_nought_nought_twelve_are_both_offered_where_both_exist():
    problem = only_problem(check_sheets(structure_of(with_numbers("0012", "12"), 12)))
    assert problem.remedy.endswith("it may be 12 or 0012")


def test_a_plain_number_cell_that_can_only_be_itself_is_read_and_said():
    outcome = check_sheets(structure_of(with_numbers("300123"), 300123))
    assert not outcome.problems
    assert check_sheets(items((300123, *RING))).sheets
    assert "numbers were read as the text of their digits" in remarks_of(check_sheets(items((300123, *RING))))


@pytest.mark.parametrize(
    ("known", "day"),
    [
        ("2-14", datetime(2026, 2, 14)),
        ("12/5", datetime(2026, 5, 12)),
        ("12/5", datetime(2026, 12, 5)),
        ("MAR1", datetime(2026, 3, 1)),
        ("1-MAR-12", datetime(2012, 3, 1)),
        ("2-014", datetime(2014, 2, 1)),
        ("3-4-26", datetime(2026, 4, 3)),
    ],
)
def test_a_date_cell_offers_the_number_it_was(known, day):
    problem = only_problem(check_sheets(structure_of(with_numbers(known, "7-31", "OR-99"), day)))
    assert f"turned it into a date, {day.day} {day:%b %Y}" in problem.reason
    assert problem.remedy.endswith(f"it may be {known}")


def test_a_date_cell_offers_another_number_of_an_item_with_its_own():
    sheets = structure_of(with_numbers("OR-112", others="2-112; 0417"), datetime(2026, 4, 17))
    assert "may be" not in only_problem(check_sheets(sheets)).remedy
    sheets = structure_of(with_numbers("OR-1", others="4-17"), datetime(2026, 4, 17))
    assert only_problem(check_sheets(sheets)).remedy.endswith("4-17, another number of OR-1")


def test_a_five_digit_day_number_offers_the_number_it_was():
    serial = (date(2026, 2, 14) - date(1899, 12, 30)).days
    problem = only_problem(check_sheets(structure_of(with_numbers("2-14"), serial)))
    assert f"the day number {serial}, which is 14 Feb 2026" in problem.reason
    assert problem.remedy.endswith("it may be 2-14")


def test_a_date_cell_is_refused_in_the_column_that_defines_numbers():
    problem = only_problem(check_sheets(items((datetime(2026, 1, 2), *RING))))
    assert (problem.sheet, problem.row, problem.column) == ("Items", 2, "part_number")
    assert problem.remedy == "format the column as text and type it again"


@pytest.mark.parametrize("shown", ["14-Feb", "2026-02-14", "2026-02-14 00:00:00", "Feb-14"])
def test_a_number_that_a_text_file_shows_as_a_date_is_refused(shown):
    load_sheets(with_numbers("2-14"))
    text = f"parent,child,quantity,at_rebuild,position\nE-1,{shown},1,renew,spare\n"
    problem = only_problem(load_files(files=[text_file("structure.csv", text)], by=None, at=AT))
    assert "made a date of it" in problem.reason
    assert "2-14" in problem.remedy


def test_a_number_that_a_text_file_shows_with_an_exponent_is_refused():
    load_sheets(with_numbers("3E10"))
    text = "parent,child,quantity,at_rebuild,position\nE-1,3.00E+10,1,renew,spare\n"
    problem = only_problem(load_files(files=[text_file("structure.csv", text)], by=None, at=AT))
    assert "shows it with an exponent" in problem.reason
    assert problem.remedy.endswith("it may be 3E10")


def test_a_lost_zero_in_a_text_file_is_offered():
    load_sheets(with_numbers("0012"))
    text = "parent,child,quantity,at_rebuild,position\nE-1,12,1,renew,spare\n"
    problem = only_problem(load_files(files=[text_file("structure.csv", text)], by=None, at=AT))
    assert problem.says == (
        'structure.csv, Structure row 2, child "12": there is no item 12: did you mean 0012? Else add it to Items.'
    )


def test_a_number_of_more_than_fifteen_digits_is_refused():
    problem = only_problem(check_sheets(items((1234567890123456789, *RING))))
    assert "more than 15 digits" in problem.reason


def test_a_number_that_is_only_shown_with_zeros_is_refused():
    def show(book):
        book["Items"]["A2"].number_format = "0000"

    problem = only_problem(check_sheets(items((12, *RING)), show))
    assert problem.reason == "the cell holds the number 12 and only shows it as 0012"


def test_a_logical_value_is_refused():
    assert "TRUE" in only_problem(check_sheets(items((True, *RING)))).reason


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (" OR-014 ", "spaces at the ends were left out"),
        ("OR-014\u00a0", "no-break space"),
        ("OR–014", "long dash or minus sign"),
        ("OR\u2212014", "long dash or minus sign"),
        ("or-014", ""),
    ],
)
def test_stray_spaces_and_dashes_find_the_item_and_are_said(typed, says):
    outcome = check_sheets(line(typed))
    assert not outcome.problems
    assert says in remarks_of(outcome)
    changed = next(sheet for sheet in outcome.sheets if sheet.sheet == "Structure").rows[-1]
    assert ("child", "OR-014") in [(change.column, change.after) for change in changed.changes]


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("OR-O14", "OR-014"),
        ("BA-I", "BA-1"),
        ("BA-l", "BA-1"),
        ("OR 014", "OR-014"),
        ("OR-0I4", "OR-014"),
        ("OR-0144", "OR-014"),
    ],
)
def test_look_alikes_are_suggested_and_never_decided(typed, meant):
    problem = only_problem(check_sheets(line(typed)))
    assert problem.reason == f"there is no item {typed}"
    assert f"did you mean {meant}" in problem.remedy


@pytest.mark.parametrize("new", ["OR-O14", "or-0I4"])
def test_a_new_item_that_looks_like_another_is_remarked_and_stored(new):
    load_sheets(SHOP)
    outcome = load_sheets(items((new, "ring", "part", "each"), ("XY-1", "ring", "part", "each")))
    assert outcome.stored
    says = remarks_of(outcome)
    assert f"{new} looks like OR-014, which is another item" in says
    assert "XY-1" not in says
    assert not remarks_of(load_sheets(items((new, "ring", "part", "each"))))


def test_two_new_items_that_look_alike_are_remarked():
    outcome = check_sheets(items(("A-O1", "ring", "part", "each"), ("A-01", "ring", "part", "each")))
    assert "A-O1 looks like A-01" in remarks_of(outcome)


def test_another_number_is_suggested_and_never_decided():
    sheets = structure_of(with_numbers("OR-112", others="2-112"), "2-112")
    assert "did you mean OR-112?" in only_problem(check_sheets(sheets)).remedy


def test_a_control_character_is_refused():
    text = "part_number,description,kind,stock_unit\nX\x07,x,part,each\n"
    assert "control character" in only_problem(load_files(files=[text_file("items.csv", text)], by=None, at=AT)).reason


@pytest.mark.parametrize("column", ["size", "hardness"])
def test_a_size_that_became_a_date_is_refused(column):
    sheets = items(
        ("X-1", *RING, datetime(2026, 4, 3)), headings=("part_number", "description", "kind", "stock_unit", column)
    )
    assert only_problem(check_sheets(sheets)).column == column


def test_a_size_may_be_a_number():
    assert not check_sheets(with_cell("Items", 5, "size", 2.62)).problems


def test_only_the_marks_that_are_days_are_read_as_days():
    assert not days_read_into("OR-014")
    assert not days_read_into("40-99")
    assert KnownMarks(["OR-014"]).read_as_day(date(2014, 1, 1)) == []
