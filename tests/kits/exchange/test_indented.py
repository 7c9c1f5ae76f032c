"""Indented lists in the shapes people write them become the same rows of Structure."""

import csv
import io

import pytest

from kits.catalog.models import Item, StructureLine
from kits.exchange.actions import keep_upload, load_upload
from kits.exchange.models import UploadOrigin, UploadState
from kits.exchange.reading.indented_structure import ListReading, indented_file
from kits.exchange.uploads.problems import Findings
from tests.kits.exchange.books import AT, load_sheets
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db

SAME = {
    "dots": "P-9\t1\n.E-9\t2\n..CK-9\t2\n...SE-9\t1\n..OR-9\t3\n.CO-9\t1",
    "dots and spaces": "P-9\t1\n. E-9\t2\n. . CK-9\t2\n. . . SE-9\t1\n. . OR-9\t3\n. CO-9\t1",
    "spaces": "P-9\t1\n   E-9\t2\n     CK-9\t2\n        SE-9\t1\n     OR-9\t3\n   CO-9\t1",
    "dashes": "P-9\t1\n- E-9\t2\n- - CK-9\t2\n- - - SE-9\t1\n- - OR-9\t3\n- CO-9\t1",
    "level number": "0\tP-9\t1\n1\tE-9\t2\n2\tCK-9\t2\n3\tSE-9\t1\n2\tOR-9\t3\n1\tCO-9\t1",
    "dotted level number": "0\tP-9\t1\n.1\tE-9\t2\n..2\tCK-9\t2\n...3\tSE-9\t1\n..2\tOR-9\t3\n.1\tCO-9\t1",
    "level column": "qty,level,part\n1,0,P-9\n2,1,E-9\n2,2,CK-9\n1,3,SE-9\n3,2,OR-9\n1,1,CO-9",
    "outline": "1\tP-9\t1\n1.1\tE-9\t2\n1.1.1\tCK-9\t2\n1.1.1.1\tSE-9\t1\n1.1.2\tOR-9\t3\n1.2\tCO-9\t1",
    "outline column": "item;part no;qty\n1;P-9;1\n1.1;E-9;2\n1.1.1;CK-9;2\n1.1.1.1;SE-9;1\n1.1.2;OR-9;3\n1.2;CO-9;1",
    "columns": "P-9\t\t\t\t1\n\tE-9\t\t\t2\n\t\tCK-9\t\t2\n\t\t\tSE-9\t1\n\t\tOR-9\t\t3\n\tCO-9\t\t\t1",
    "no-break spaces": "P-9\t1\n__E-9\t2\n___CK-9\t2\n     SE-9\t1\n___OR-9\t3\n  CO-9\t1".replace("_", "\u00a0"),
}
LINES = [("P-9", "E-9", "2"), ("E-9", "CK-9", "2"), ("CK-9", "SE-9", "1"), ("E-9", "OR-9", "3"), ("P-9", "CO-9", "1")]


def rows_of(text, findings=None, **reading):
    file = indented_file(text, ListReading(**reading), findings or Findings())
    assert file.name == "structure.csv"
    return [row for row in csv.DictReader(io.StringIO(file.content.decode())) if row["parent"]]


def lines_of(rows):
    return [(row["parent"], row["child"], row["quantity"]) for row in rows]


def problems_of(text, **reading):
    findings = Findings()
    rows_of(text, findings, **reading)
    return [(problem.row, problem.value, problem.reason) for problem in findings.problems]


@pytest.mark.parametrize("shape", SAME)
def test_every_shape_gives_the_same_lines(shape):
    findings = Findings()
    assert lines_of(rows_of(SAME[shape], findings)) == LINES
    assert not findings.problems
    assert "the list was read by" in findings.remarks[0].says


def test_the_topmost_lines_belong_to_the_assembly_whose_page_it_is():
    assert lines_of(rows_of("CK-9\t2\n.SE-9\t1\nOR-9\t3", parent="E-9")) == [
        ("E-9", "CK-9", "2"),
        ("CK-9", "SE-9", "1"),
        ("E-9", "OR-9", "3"),
    ]


def test_a_shape_that_was_said_is_not_guessed_at():
    text = "0\t1\t5\n1\t2\t7"
    assert lines_of(rows_of(text)) == [("1", "2", "7")]
    assert lines_of(rows_of(text, shape="signs", parent="E-9")) == [("E-9", "0", "1"), ("E-9", "1", "2")]


def test_part_numbers_of_digits_and_points_are_not_taken_for_levels():
    assert lines_of(rows_of("0012\t2\n0013\t1", parent="E-9")) == [("E-9", "0012", "2"), ("E-9", "0013", "1")]


def test_other_columns_come_along():
    text = "level\tpart\tqty\tunit\tposition\tat rebuild\n0\tE-9\t1\t\t\t\n1\tCO-9\t31\tcm\tcover\tinspect"
    (row,) = rows_of(text, at_rebuild="renew")
    assert (row["unit"], row["position"], row["at_rebuild"]) == ("cm", "cover", "inspect")


def test_what_is_opened_is_opened_and_the_rest_is_as_was_said():
    rows = rows_of("P-9\n.E-9\t2\n..OR-9\t3", at_rebuild="renew")
    assert [row["at_rebuild"] for row in rows] == ["open", "renew"]
    assert [row["order"] for row in rows] == ["10", "10"]


def test_what_the_records_say_of_a_line_stays(shop):
    StructureLine.objects.filter(child__part_number="OR-014").update(at_rebuild="inspect", order=7, position="")
    (row,) = rows_of("OR-014\t4", parent="E-1", at_rebuild="renew")
    assert (row["at_rebuild"], row["order"]) == ("inspect", "7")


def test_nothing_is_asked_about_what_a_kit_holds(shop):
    (row,) = rows_of("BA-1\t4", parent="K-1", at_rebuild="renew")
    assert row["at_rebuild"] == ""


def test_an_assembly_that_is_opened_twice_is_stored_once():
    text = "P-9\n.E-9\t1\n..OR-9\t3\n.D-9\t1\n..E-9\t1\n...OR-9\t3"
    findings = Findings()
    assert lines_of(rows_of(text, findings)) == [
        ("P-9", "E-9", "1"),
        ("E-9", "OR-9", "3"),
        ("P-9", "D-9", "1"),
        ("D-9", "E-9", "1"),
    ]
    assert "E-9 is opened again; stored once" in findings.remarks[1].says


def test_an_assembly_that_holds_another_number_the_second_time_is_refused():
    text = "P-9\n.E-9\t1\n..OR-9\t3\n.D-9\t1\n..E-9\t1\n...OR-9\t4"
    assert problems_of(text) == [(7, "OR-9", "E-9 holds 3 of it in row 4 and 4 here")]


def test_totals_over_the_whole_pump_name_their_pump_and_may_stand_once_only():
    rows = rows_of("P-9\n.E-9\t2\n..OR-9\t6", pump="P-9")
    assert {(row["quantity_is_for"], row["pump"]) for row in rows} == {("whole_pump", "P-9")}
    assert len(problems_of("P-9\n.E-9\t2\n..OR-9\t6\n.D-9\t1\n..E-9\t1\n...OR-9\t6", pump="P-9")) == 1


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("level\tpart\tqty\n0\tP-9\t\n2\tSE-9\t1", (3, "SE-9", "its depth is 2, right after 0")),
        ("P-9\n    E-9\t1\n  OR-9\t1", (4, "OR-9", "it is indented as no line above it is")),
        ("1\tP-9\t1\n1.1\tE-9\t1\n1.2.1\tSE-9\t1", (4, "SE-9", "no line 1.2 stands above it")),
        ("level\tpart\tqty\n0\tP-9\t\nx\tSE-9\t1", (3, "SE-9", "no part number or no depth can be made out")),
    ],
)
def test_a_line_that_stands_below_nothing_is_refused_with_its_row(text, problem):
    assert problems_of(text) == [problem]


def test_the_list_is_previewed_and_loaded_with_rows_as_pasted(shop):
    keeper = person_of("Administrator", "keeper")
    load_sheets(
        {"Items": [["part_number", "description", "kind", "stock_unit"], ["CK-9", "check", "assembly", "each"]]}
    )
    findings = Findings()
    file = indented_file("CK-9\t2\n.BA-1\t1\n.SE-7\t1", ListReading(parent="E-1", at_rebuild="renew"), findings)
    upload = keep_upload(files=[file], by=keeper, at=AT, origin=UploadOrigin.INDENTED, findings=findings)
    assert upload.state == UploadState.REFUSED
    assert [(one["row"], one["column"], one["value"]) for one in upload.outcome["problems"]] == [(4, "child", "SE-7")]
    file = indented_file("CK-9\t2\n.BA-1\t1", ListReading(parent="E-1", at_rebuild="renew"), Findings())
    assert load_upload(upload=keep_upload(files=[file], by=keeper, at=AT), by=keeper, at=AT).stored
    assert StructureLine.objects.get(parent=Item.objects.get(part_number="CK-9")).at_rebuild == "renew"


def test_totals_over_the_whole_pump_come_to_the_same_plan_as_counts_for_one_parent(shop):
    keeper = person_of("Administrator", "keeper")
    file = indented_file("OR-014\t6\nBA-1\t2", ListReading(parent="E-1", pump="P-1", at_rebuild="renew"), Findings())
    upload = keep_upload(files=[file], by=keeper, at=AT)
    assert upload.state == UploadState.CHECKED, upload.outcome["problems"]
