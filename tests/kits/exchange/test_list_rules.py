"""What must hold across rows and sheets, and what the engine finds in the whole."""

from datetime import date, datetime

import pytest

from bom.answers.rows import as_json
from kits.catalog.models import Item, StructureLine
from kits.catalog.queries import read_settings
from kits.planning.queries import plan_now
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


def where(problem):
    return problem.sheet, problem.row, problem.column


@pytest.mark.parametrize("material", ["NBR", "FKM", "PTFE/FKM", "steel/NBR, 70"])
def test_an_elastomer_never_keeps_for_ever_by_a_blank(material):
    sheets = with_cell("Items", 5, "material", material)
    sheets["Items"][4][5] = None
    problem = only_problem(check_sheets(sheets))
    assert where(problem) == ("Items", 5, "shelf_life_years")
    assert "a blank never means that it keeps for ever" in problem.remedy


@pytest.mark.parametrize(
    ("life", "months", "unlimited"),
    [(15, 180, False), ("2.5", 30, False), ("Unlimited", None, True), ("30 m", 30, False)],
)
def test_a_shelf_life_is_years_or_unlimited(life, months, unlimited):
    load_sheets(with_cell("Items", 5, "shelf_life_years", life))
    ring = Item.objects.get(part_number="OR-014")
    assert (ring.shelf_life_months, ring.shelf_life_unlimited) == (months, unlimited)


CLOSURE = ["supplier", "closed_from", "closed_to"]


@pytest.mark.parametrize(
    ("columns", "days", "column"),
    [
        (CLOSURE, (date(2026, 8, 3), None), "closed_to"),
        (CLOSURE, (None, date(2026, 8, 14)), "closed_from"),
        (CLOSURE[:2], (date(2026, 8, 3),), "closed_to"),
        (CLOSURE, (date(2026, 8, 14), date(2026, 8, 3)), "closed_to"),
    ],
)
def test_a_supplier_closes_from_one_day_to_a_later_one(columns, days, column):
    problem = only_problem(check_sheets({**SHOP, "Suppliers": [columns, ["Ring House", *days]]}))
    assert where(problem) == ("Suppliers", 2, column)


def test_a_supplier_who_closes_sends_off_later():
    """Ring House takes two weeks for a bag of rings, and is closed for one of them."""
    nothing_there = {name: SHOP[name][:1] for name in ("Lots", "Orders", "KitFits")}
    shop = {**SHOP, **nothing_there}
    days = {"open": (None, None), "closed": (date(2026, 3, 9), date(2026, 3, 13))}
    here = {}
    for name, closed in days.items():
        assert load_sheets({**shop, "Suppliers": [CLOSURE, ["Ring House", *closed]]}).stored
        rows = {row["part_number"]: row for row in as_json(plan_now(date(2026, 3, 4)))["buy"]}
        here[name] = rows["OR-014"]["earliest_arrival"]
    assert here == {"open": "2026-03-18", "closed": "2026-03-25"}


@pytest.mark.parametrize("life", ["for ever", 0, -2, 1000, 0.3])
def test_a_shelf_life_that_cannot_be_is_refused(life):
    assert where(check_sheets(with_cell("Items", 5, "shelf_life_years", life)).problems[0]) == (
        "Items",
        5,
        "shelf_life_years",
    )


def test_at_rebuild_is_asked_for_under_an_assembly_and_not_in_a_kit():
    problem = only_problem(check_sheets(with_cell("Structure", 3, "at_rebuild", None)))
    assert where(problem) == ("Structure", 3, "at_rebuild")
    assert problem.remedy == "write open, renew, inspect or keep"


def test_at_rebuild_is_not_asked_for_in_a_made_assembly():
    sheets = with_row("Items", "M-1", "made end", "assembly", "each", None, None, None)
    sheets["Items"][0] = [*sheets["Items"][0], "source"]
    sheets["Items"] = [
        sheets["Items"][0],
        *[[*row, "make" if row[0] == "M-1" else None] for row in sheets["Items"][1:]],
    ]
    sheets["Structure"] = [*SHOP["Structure"], ["M-1", "OR-014", 1, None, None, None, "gland"]]
    assert not check_sheets(sheets).problems


@pytest.mark.parametrize(
    ("sheet", "row", "column", "value", "says"),
    [
        ("Scopes", 2, "pump", "E-1", "E-1 is an assembly, not a pump"),
        ("Scopes", 2, "section", "OR-014", "OR-014 is a part, not an assembly or a pump"),
        ("KitFits", 2, "kit", "BA-1", "not a kit"),
        ("KitFits", 2, "fits", "OR-014", "not an assembly or a pump"),
        ("Structure", 3, "parent", "BA-1", "BA-1 is a part that is bought, so it holds nothing"),
        ("Schedule", 2, "scope", "half", "P-1 has no scope half"),
        ("Lots", 2, "place", "A9", "there is no place A9"),
        ("Offers", 2, "supplier", "Ring Hose", "there is no supplier Ring Hose"),
        ("Items", 5, "stock_unit", "bag", "it is a pack, not a unit"),
        ("Items", 3, "stock_unit", "mm", "an assembly is counted"),
        ("Items", 5, "default_option", "compound=NBR", "only pumps answer options"),
        ("Items", 2, "default_option", "NBR", "not a name and a value"),
        ("Items", 5, "kind", "prt", "none of the words that can stand here"),
        ("Items", 5, "how_sure_percent", 0, "with a chance of 0"),
        ("Items", 5, "min_life_at_receipt", 75, "per cent or months"),
        ("Orders", 2, "promised", "soon", "cannot be read as a date"),
        ("Scopes", 2, "how_many", None, "it is blank"),
    ],
)
def test_a_row_that_cannot_be_is_refused_with_its_own_sentence(sheet, row, column, value, says):
    outcome = check_sheets(with_cell(sheet, row, column, value))
    problem = outcome.problems[0]
    assert where(problem) == (sheet, row, column)
    assert says in problem.reason


def test_scopes_with_commas_in_their_names_are_told_apart():
    sheets = with_row("Scopes", "P-1", "full, one end", "E-1", 1)
    sheets["Schedule"] = [SHOP["Schedule"][0], ["J-1", "P-1", "half", date(2026, 3, 16), None, None]]
    assert only_problem(check_sheets(sheets)).remedy == "write one of: full; full, one end"


def test_a_piece_that_is_only_inside_another_names_it():
    problem = only_problem(check_sheets(with_cell("Items", 5, "source", "in_kit_only")))
    assert where(problem) == ("Items", 5, "get_as")


def test_a_blank_setting_is_cleared(shop):
    assert load_sheets({"Settings": [["name", "value"], ["today", None]]}).stored
    assert read_settings().today is None


def test_a_whole_pump_quantity_needs_its_pump():
    assert where(only_problem(check_sheets(with_cell("Structure", 3, "quantity_is_for", "whole_pump")))) == (
        "Structure",
        3,
        "pump",
    )


def test_a_whole_pump_quantity_that_leaves_a_remainder_is_refused_with_its_row():
    sheets = with_cell("Structure", 3, "quantity_is_for", "whole_pump")
    sheets["Structure"] = [
        [*row, "pump" if number == 0 else "P-1" if number == 2 else None]
        for number, row in enumerate(sheets["Structure"])
    ]
    problem = only_problem(check_sheets(sheets))
    assert where(problem) == ("Structure", 3, "quantity")
    assert "3 OR-014 in the whole P-1 / 2 E-1 = 1.5" in problem.reason


def test_a_cycle_is_refused_with_its_loop_and_a_row():
    sheets = with_row("Structure", "E-1", "E-2", 1, None, "open", None, "sub")
    sheets["Items"] = [*SHOP["Items"], ["E-2", "sub end", "assembly", "each", None, None, None]]
    sheets["Structure"].append(["E-2", "E-1", 1, None, "open", None, "back"])
    problem = only_problem(check_sheets(sheets))
    assert problem.sheet == "Structure"
    assert problem.row in (7, 8)
    assert "E-1 > E-2 > E-1" in problem.reason or "E-2 > E-1 > E-2" in problem.reason


def test_a_scope_that_opens_too_much_is_refused_with_its_row():
    problem = only_problem(check_sheets(with_cell("Scopes", 2, "how_many", 3)))
    assert where(problem) == ("Scopes", 2, "how_many")


def test_an_unanswered_option_is_refused_with_the_job_and_what_is_known():
    sheets = with_row("Structure", "E-1", "OR-014", 1, None, "renew", None, "nose")
    sheets["Structure"] = [
        [*row, "option" if number == 0 else "depth=deep" if row[-1] == "nose" else None]
        for number, row in enumerate(sheets["Structure"])
    ]
    problem = only_problem(check_sheets(sheets))
    assert (problem.sheet, problem.row) == ("Schedule", 2)
    assert "depth" in problem.reason
    assert problem.remedy == "state one of deep"


@pytest.mark.parametrize("missing", ["what it fits", "contents"])
def test_a_kit_may_be_entered_in_steps(missing):
    """Either half may come first: it is stored, flagged on the kit, and the plan is made without the kit."""
    lines = [row for row in SHOP["Structure"] if missing != "contents" or row[0] != "K-1"]
    first = {**SHOP, "Structure": lines}
    if missing == "what it fits":
        del first["KitFits"]
    assert load_sheets(first).stored
    flags = {flag["kind"] for flag in as_json(plan_now())["flags"] if flag["part_number"] == "K-1"}
    assert flags == {"fits_nothing" if missing == "what it fits" else "kit_without_contents"}
    assert as_json(plan_now())["kits"] == []
    assert load_sheets({"KitFits": SHOP["KitFits"], "Structure": SHOP["Structure"]}).stored
    assert [row["kit"] for row in as_json(plan_now())["kits"]] == ["K-1"]


def test_a_fault_that_was_there_before_is_said_but_does_not_stop_another_list(shop):
    StructureLine.objects.filter(child__part_number="BA-1").update(at_rebuild="")
    outcome = load_sheets({"Holidays": [["date", "name"], [date(2026, 4, 3), "closed"]]})
    assert outcome.stored
    assert "this was wrong before and still is" in remarks_of(outcome)
    new = check_sheets({"Structure": [SHOP["Structure"][0], ["E-1", "K-1", 1, None, "open", None, "odd"]]})
    assert [problem.row for problem in new.problems] == [2]


def test_a_lot_says_the_same_on_all_its_rows():
    sheets = with_row("Lots", "OR-014", "L-1", 4, "Q1", "1Q25")
    problem = only_problem(check_sheets(sheets))
    assert where(problem) == ("Lots", 4, "cure")
    assert "row 2 says 4Q24 of the same lot" in problem.reason


def test_the_stock_unit_of_a_stored_item_stays(shop):
    problem = only_problem(check_sheets(items(("CO-1", "cord", "part", "m"))))
    assert where(problem) == ("Items", 2, "stock_unit")


def test_more_cannot_be_returned_than_was_issued():
    rows = [
        ["job", "part_number", "lot", "quantity", "state"],
        ["J-1", "OR-014", "L-1", 2, "issued"],
        ["J-1", "OR-014", "L-1", 3, "returned"],
    ]
    assert where(only_problem(check_sheets({**SHOP, "Issued": rows}))) == ("Issued", 3, "quantity")


def test_an_issue_needs_its_lot():
    rows = [["job", "part_number", "lot", "quantity", "state"], ["J-1", "OR-014", "L-9", 2, "issued"]]
    problem = only_problem(check_sheets({**SHOP, "Issued": rows}))
    assert where(problem) == ("Issued", 2, "lot")
    assert "quantity of 0" in problem.remedy


def test_a_verdict_at_no_position_is_refused_with_its_row():
    rows = [
        ["job", "where", "part_number", "verdict"],
        ["J-1", "E-1 1 / ball", "BA-1", "renew"],
        ["J-1", "E-1 7 / ball", "BA-1", "renew"],
    ]
    sheets = {**with_cell("Schedule", 2, "stage", "stripped"), "Verdicts": rows}
    assert where(only_problem(check_sheets(sheets))) == ("Verdicts", 3, "where")


@pytest.mark.parametrize(("found", "refused"), [(None, True), ("  ", True), ("new last year", False)])
def test_whoever_takes_a_position_out_of_its_group_says_why(found, refused):
    """A renewal renews its whole group unless the lead overrides it with a reason."""
    columns = ["job", "where", "part_number", "verdict", "found", "with_group"]
    rows = [columns, ["J-1", "E-1 1 / ball", "BA-1", "keep", found, "no"]]
    checked = check_sheets({**with_cell("Schedule", 2, "stage", "stripped"), "Verdicts": rows})
    if not refused:
        assert checked.problems == ()
        return
    problem = only_problem(checked)
    assert where(problem) == ("Verdicts", 2, "with_group")
    assert "write the reason under found" in problem.remedy


def test_a_position_left_in_its_group_needs_no_reason():
    rows = [["job", "where", "part_number", "verdict", "with_group"], ["J-1", "E-1 1 / ball", "BA-1", "keep", "yes"]]
    assert check_sheets({**with_cell("Schedule", 2, "stage", "stripped"), "Verdicts": rows}).problems == ()


def test_settings_are_read_by_their_own_rules():
    outcome = check_sheets(
        {
            **SHOP,
            "Settings": [["name", "value"], ["today", datetime(2026, 3, 4)], ["staging_days", 2], ["colour", "blue"]],
        }
    )
    assert not outcome.problems
    assert "nothing uses a setting named colour" in remarks_of(outcome)
    problem = only_problem(check_sheets({**SHOP, "Settings": [["name", "value"], ["staging_days", "two"]]}))
    assert where(problem) == ("Settings", 2, "value")
    for name in ("order_prefix", "request_prefix"):  # a number of an order holds a hundred signs at most
        problem = only_problem(check_sheets({**SHOP, "Settings": [["name", "value"], [name, "QUAY" * 30]]}))
        assert "at most 20 characters" in problem.remedy


def test_a_row_that_cannot_be_read_brings_no_problems_to_the_rows_that_name_it():
    for column, value in (("kind", "assmbly"), ("stock_unit", "bag")):
        assert where(only_problem(check_sheets(with_cell("Items", 3, column, value)))) == ("Items", 3, column)
