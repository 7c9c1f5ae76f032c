"""One load tells everything: what the engine finds in the sound rows stands beside what single cells got wrong."""

import pytest

from kits.catalog.models import StructureLine
from tests.kits.exchange.books import SHOP, check_sheets, load_sheets, only_problem, with_row

pytestmark = pytest.mark.django_db


def told(sheets):
    return [problem.says for problem in check_sheets(sheets).problems]


def broken(**rows):
    """The small shop with an unreadable build date, and more rows."""
    sheets = with_row("Schedule", "J-2", "P-1", "full", "31.12.26", None, None)
    for sheet, row in rows.items():
        sheets = {**sheets, sheet: [*sheets[sheet], row]}
    return sheets


def test_a_circle_is_told_beside_a_cell_that_cannot_be_read():
    says = told(broken(Structure=["E-1", "P-1", 1, None, "open", None, None]))
    assert len(says) == 2
    assert any("build_date" in one and "31.12.26" in one for one in says)
    assert any("runs in a circle: " in one for one in says)


def test_a_scope_that_opens_too_much_is_told_beside_a_cell_that_cannot_be_read():
    sheets = with_row("Scopes", "P-1", "whole", "E-1", 3)
    sheets["Orders"] = [SHOP["Orders"][0], ["PO-1", "1", "Ring House", "OR-014", 5, "soon"]]
    says = told(sheets)
    assert len(says) == 2
    assert any("opens 3 of E-1, but one P-1 holds 2" in one for one in says)


def test_what_may_come_from_a_faulty_row_alone_is_not_told():
    sheets = {**SHOP, "Structure": [*SHOP["Structure"]]}
    sheets["Structure"][1] = ["P-1", "E-1", "AR", None, "open", None, "ends"]
    says = told(sheets)
    assert len(says) == 1
    assert "AR" in says[0]


@pytest.mark.parametrize(
    "rows",
    [
        {"Issued": [["job", "part_number", "lot", "quantity", "state"], ["J-2", "OR-014", "L-1", 1, "reserved"]]},
        {"Verdicts": [["job", "where", "part_number", "verdict"], ["J-2", "pump 1 / E-1 1 / gland", "OR-014", "keep"]]},
    ],
)
def test_rows_that_lean_on_a_faulty_row_wait_for_it(rows):
    assert ["J-2" in one for one in told({**broken(), **rows})] == [False]


def test_pieces_of_a_lot_that_cannot_be_read_wait_for_it():
    sheets = with_row("Lots", "OR-014", "L-7", "many", "A1", None)
    sheets["Issued"] = [["job", "part_number", "lot", "quantity", "state"], ["J-1", "OR-014", "L-7", 1, "reserved"]]
    assert len(told(sheets)) == 1


@pytest.mark.parametrize(
    ("sheet", "row", "remedy"),
    [
        ("Scopes", ["P-1", "whole", "E-1", 3], "lower the number"),
        ("Structure", ["E-1", "BA-1", 1, None, "open", None, "i"], "add its lines, or write renew, inspect or keep"),
    ],
)
def test_what_the_whole_shop_contradicts_comes_with_its_remedy(sheet, row, remedy):
    assert load_sheets(SHOP).stored
    problems = check_sheets({sheet: [SHOP[sheet][0], row]}).problems
    assert remedy in [problem.remedy for problem in problems]
    assert [problem.says for problem in problems if not problem.remedy] == []


def test_nothing_is_stored_by_the_second_look():
    check_sheets(broken(Structure=["E-1", "P-1", 1, None, "open", None, None]))
    assert StructureLine.objects.count() == 0


def test_a_circle_is_told_at_the_row_of_the_file_that_closes_it():
    assert load_sheets(SHOP).stored
    problem = only_problem(
        check_sheets({"Structure": [SHOP["Structure"][0], ["E-1", "P-1", 1, None, "open", None, None]]})
    )
    assert (problem.sheet, problem.row, problem.column) == ("Structure", 2, "child")
    assert problem.reason == "the structure runs in a circle: E-1 > P-1 > E-1"
    assert problem.remedy == "take one of these lines out"
