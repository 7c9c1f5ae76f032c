"""What stands in place of a number, and which mark separates what, is never guessed."""

from datetime import datetime
from decimal import Decimal

import pytest

from bom.values import ONE
from kits.catalog.models import Item, StructureLine
from kits.exchange.columns.catalog_layouts import STRUCTURE
from kits.exchange.reading.cells.cell import Cell, CellRefused
from kits.exchange.reading.cells.known_marks import KnownMarks
from kits.exchange.reading.cells.numbers import read_number
from kits.purchasing.models import Offer
from tests.kits.exchange.books import SHOP, check_sheets, load_sheets, only_problem, remarks_of, with_cell, with_row

pytestmark = pytest.mark.django_db


def read(text):
    cell = Cell(text, STRUCTURE.column("quantity"), KnownMarks())
    return read_number(cell), " ".join(cell.notes)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("V", "V (varies) is no number"),
        ("ar", "AR (as required)"),
        ("REF", "for reference only"),
        ("(2)", "a number in brackets"),
        ("*", "a star"),
        ("2*", "a star"),
        ("2 pcs", "a number and a unit stand in one cell"),
        ("1/2", "a fraction"),
        ("1E3", "with an exponent"),
        ("two", "it is no number"),
        ("-", "a dash is no number"),
        (True, "TRUE is no number"),
        (datetime(2026, 1, 2), "made the date 2 Jan 2026 of it"),
        (0, "not above zero"),
        (-3, "not above zero"),
        (2.5, "no whole number"),
    ],
)
def test_what_is_no_quantity_is_refused_with_its_own_sentence(typed, says):
    problem = only_problem(check_sheets(with_cell("Structure", 3, "quantity", typed)))
    assert (problem.sheet, problem.row, problem.column) == ("Structure", 3, "quantity")
    assert says in problem.reason
    assert problem.remedy


@pytest.mark.parametrize(
    ("typed", "number", "says"),
    [
        ("12", "12", ""),
        ("1,5", "1.5", "a comma was read as the decimal point"),
        ("0,125", "0.125", "a comma was read as the decimal point"),
        ("12,3456", "12.3456", "a comma was read as the decimal point"),
        ("1.234,5", "1234.5", "points were read as separators of thousands"),
        ("1,234.5", "1234.5", "commas were read as separators of thousands"),
        ("1,234,567", "1234567", "commas were read as separators of thousands"),
        ("1.234.567", "1234567", "points were read as separators of thousands"),
        ("1 234", "1234", "spaces were read as separators of thousands"),
        ("1\u202f234,5", "1234.5", "spaces were read as separators of thousands"),
        ("1'234", "1234", "apostrophes were read as separators of thousands"),
        (0.1 + 0.2, "0.3", ""),
    ],
)
def test_a_number_with_one_reading_is_read_and_said(typed, number, says):
    value, notes = read(typed)
    assert value == Decimal(number)
    assert says in notes


@pytest.mark.parametrize("typed", ["1,234", "12,000"])
def test_a_number_with_two_readings_is_refused_with_both(typed):
    with pytest.raises(CellRefused) as refused:
        read(typed)
    assert refused.value.remedy == f"write {typed.replace(',', '.')} or {typed.replace(',', '')}"


def test_a_point_before_three_digits_is_doubtful_beside_a_decimal_comma():
    sheets = with_row("Structure", "E-1", "CO-1", "1.250", None, "renew", None, "rim")
    assert not check_sheets(sheets).problems
    sheets["Structure"].append(["E-1", "CO-1", "1,5", None, "renew", None, "lip"])
    problem = only_problem(check_sheets(sheets))
    assert (problem.row, problem.value) == (7, "1.250")
    assert "may separate thousands" in problem.reason


def test_numbers_kept_as_text_are_read_and_said():
    outcome = check_sheets(with_cell("Structure", 3, "quantity", "3"))
    assert not outcome.problems
    assert "numbers kept as text were read as numbers" in remarks_of(outcome)


@pytest.mark.usefixtures("shop")
def test_a_quantity_is_converted_into_the_stock_unit_of_the_child():
    assert StructureLine.objects.get(child__part_number="CO-1").quantity == 310 * ONE


@pytest.mark.parametrize(
    ("unit", "says"),
    [
        ("kg", "does not measure what the stock unit 'mm' measures"),
        ("bag", "it is a pack, not a unit"),
        ("furlong", "is not known"),
    ],
)
def test_a_unit_of_another_dimension_a_pack_or_an_unknown_one_is_refused(unit, says):
    problem = only_problem(check_sheets(with_cell("Structure", 5, "unit", unit)))
    assert (problem.column, problem.value) == ("unit", unit)
    assert says in problem.reason
    assert problem.remedy


def test_pieces_cannot_be_measured_in_millimetres():
    problem = only_problem(check_sheets(with_cell("Structure", 3, "unit", "mm")))
    assert "OR-014 is kept in each" in problem.reason


def test_more_than_six_decimals_are_refused():
    assert "6 decimals" in only_problem(check_sheets(with_cell("Structure", 5, "quantity", 1 / 3))).reason


def test_an_offer_is_in_packs_and_its_pack_in_pieces():
    load_sheets(SHOP)
    offer = Offer.objects.get()
    assert (offer.pack_size, offer.lead_days) == (25 * ONE, 10)


@pytest.mark.parametrize(("typed", "days"), [("14 w", 70), ("10", 10), (10, 10), ("3 weeks", 15), ("4 d", 4)])
def test_a_lead_time_is_in_working_days_or_weeks(typed, days):
    load_sheets(with_cell("Items", 5, "lead_time", typed))
    assert Item.objects.get(part_number="OR-014").lead_days == days


def test_a_lead_time_in_months_is_refused():
    assert only_problem(check_sheets(with_cell("Items", 5, "lead_time", "3 months"))).column == "lead_time"


@pytest.mark.parametrize(
    ("column", "value"), [("renewals_per_100", 135), ("renewals_per_100", -1), ("renewals_per_100", "35 %%")]
)
def test_a_rate_lies_between_0_and_100(column, value):
    assert only_problem(check_sheets(with_cell("Structure", 4, column, value))).column == column


def test_a_cell_shown_in_per_cent_is_read_so():
    def show(book):
        book["Structure"]["F4"].number_format = "0%"

    load_sheets(with_cell("Structure", 4, "renewals_per_100", 0.35), show)
    assert StructureLine.objects.get(child__part_number="BA-1").renewals_per_100 == 35
