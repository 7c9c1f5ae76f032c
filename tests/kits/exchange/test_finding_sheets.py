"""The sheets FindingRules and Findings: read, refused, stored, written out and read again."""

import io
from datetime import date

import openpyxl
import pytest

from bom.plan import plan
from bom.values import ONE, Finding, FindingRule
from kits.catalog import models as catalog
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.workbooks.dump import dump_workbook
from kits.planning.snapshot.shop import take_snapshot
from kits.schedule import models as schedule
from tests.kits.exchange import books
from tests.kits.exchange.books import AT, SHOP, check_sheets, load_sheets

TODAY = date(2026, 3, 4)
RULES = [
    ["finding", "assembly", "effect", "part_number", "quantity", "unit", "note"],
    ["metal in the oil", "E-1", "renew", "BA-1", None, None, "chips"],
    ["metal in the oil", "E-1", "renew", None, None, None, None],
    ["bore honed", "E-1", "add", "CO-1", 31, "cm", None],
]
FINDINGS = [
    ["job", "finding", "section", "found_on", "note"],
    ["J-1", "Metal  in the oil", "e-1", date(2026, 3, 3), "a thimbleful"],
    ["J-1", "bore honed", None, None, None],
]
BOOK = {**SHOP, "FindingRules": RULES, "Findings": FINDINGS}

pytestmark = pytest.mark.django_db(transaction=True)


def changed(sheet, row, column, value):
    rows = [list(one) for one in BOOK[sheet]]
    rows[row - 1][rows[0].index(column)] = value
    return {**BOOK, sheet: rows}


def test_rules_and_findings_reach_the_plan():
    outcome = load_sheets(BOOK)
    assert not outcome.problems
    shop = take_snapshot(TODAY)
    assert shop.catalog.finding_rules == (
        FindingRule("bore honed", "E-1", "add", "CO-1", 310 * ONE),
        FindingRule("metal in the oil", "E-1", "renew", "BA-1", 0, "chips"),
        FindingRule("metal in the oil", "E-1", "renew"),
    )
    assert shop.findings == (
        Finding("J-1", "metal in the oil", "E-1", date(2026, 3, 3), "a thimbleful"),
        Finding("J-1", "bore honed"),
    )
    demand = plan(shop).demand
    loose = demand.requirements.loose
    sure = dict(zip(loose.item.tolist(), loose.quantity.tolist(), strict=True))
    numbers = demand.structure.index
    assert sure[numbers["BA-1"]] == 2 * ONE
    assert sure[numbers["CO-1"]] == 2 * (310 + 310) * ONE


def test_loading_them_twice_changes_nothing():
    load_sheets(BOOK)
    again = load_sheets(BOOK)
    assert not again.problems
    assert not any(sheet.changes_something for sheet in again.sheets)


def test_they_are_written_out_and_read_again():
    load_sheets(BOOK)
    content = dump_workbook()
    book = openpyxl.load_workbook(io.BytesIO(content))
    assert [[cell.value for cell in row] for row in book["FindingRules"]] == [
        RULES[0],
        ["metal in the oil", "E-1", "renew", "BA-1", None, None, "chips"],
        ["metal in the oil", "E-1", "renew", None, None, None, None],
        ["bore honed", "E-1", "add", "CO-1", 310, "mm", None],
    ]
    assert [[cell.value for cell in row][:3] for row in book["Findings"]] == [
        FINDINGS[0][:3],
        ["J-1", "metal in the oil", "E-1"],
        ["J-1", "bore honed", None],
    ]
    before = take_snapshot(TODAY)
    schedule.Finding.objects.all().delete()
    catalog.FindingRule.objects.all().delete()
    outcome = books.load_files(files=[SheetFile("back.xlsx", content)], by=None, at=AT)
    assert not outcome.problems
    after = take_snapshot(TODAY)
    assert (after.catalog.finding_rules, after.findings) == (before.catalog.finding_rules, before.findings)


def test_a_changed_note_is_a_change_of_that_row_alone():
    load_sheets(BOOK)
    outcome = load_sheets(changed("FindingRules", 2, "note", "filings"))
    assert [sheet.sheet for sheet in outcome.sheets if sheet.changes_something] == ["FindingRules"]
    assert catalog.FindingRule.objects.filter(note="filings").count() == 1


@pytest.mark.parametrize(
    ("sheet", "row", "column", "value", "words"),
    [
        ("FindingRules", 2, "assembly", "BA-1", "is a part, not an assembly or a pump"),
        ("FindingRules", 2, "quantity", 2, "leave the quantity blank"),
        ("FindingRules", 2, "effect", "swap", "write add, renew"),
        ("FindingRules", 2, "part_number", "OR-014", "not inspected anywhere in E-1"),
        ("FindingRules", 4, "part_number", None, "names what is added"),
        ("FindingRules", 4, "quantity", None, "give the quantity"),
        ("FindingRules", 4, "unit", "g", "CO-1 is kept in mm"),
        ("Findings", 3, "finding", "bore hone", "did you mean bore honed"),
        ("Findings", 3, "job", "J-9", "there is no job J-9"),
        ("Findings", 3, "section", "P-1", "opens no section P-1"),
    ],
)
def test_what_cannot_be_is_refused_where_it_stands(sheet, row, column, value, words):
    problems = check_sheets(changed(sheet, row, column, value)).problems
    assert [(one.sheet, one.row, one.column) for one in problems] == [(sheet, row, column)], problems
    assert words in problems[0].says


def test_a_finding_adds_no_kit():
    problems = check_sheets({**BOOK, "FindingRules": [*RULES, ["rust", "E-1", "add", "K-1", 1, None, None]]}).problems
    assert [(one.row, one.column) for one in problems] == [(5, "part_number")]
    assert "K-1 is a kit, not a part or an assembly" in problems[0].says


def test_the_same_finding_twice_is_refused():
    rows = [*FINDINGS, ["J-1", "BORE honed", None, None, None]]
    problems = check_sheets({**BOOK, "Findings": rows}).problems
    assert [(one.sheet, one.row) for one in problems] == [("Findings", 4)]
    assert "stands twice" in problems[0].says
