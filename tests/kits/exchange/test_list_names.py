"""Which list a file or a sheet holds: its own name, a lengthened one, its headings; else it is asked."""

import io

import pytest
from django.core.management import CommandError, call_command

from kits.catalog.models import Item
from kits.exchange.actions import check_files, choose_lists, keep_upload, load_files
from kits.exchange.models import UploadState
from kits.exchange.reading.asking.instructions import Instructions
from kits.exchange.reading.asking.list_names import named_loosely
from kits.exchange.uploads.outcome import outcome_from_json
from kits.stock.models import Lot
from tests.kits.exchange.books import AT, LOTS, book_file, only_problem, remarks_of, text_file
from tests.kits.persons import person_of

ITEMS_TEXT = "part_number,description,kind,stock_unit\nX-1,ring,part,each\n"


def load(text, name):
    return load_files(files=[text_file(name, text)], by=None, at=AT)


@pytest.mark.parametrize(
    ("name", "sheet"),
    [
        ("items (1)", "Items"),
        ("Copy of items", "Items"),
        ("items - Copy", "Items"),
        ("items_2026-11-29", "Items"),
        ("20261129 items v2 final", "Items"),
        ("Kit fits (3)", "KitFits"),
        ("kit_contents-draft", "KitContents"),
        ("OTHER NEEDS 2026", "OtherNeeds"),
        ("Sheet1", None),
        ("2026-11-29", None),
        ("spare items of the yard", None),
        ("", None),
    ],
)
def test_what_a_browser_or_a_person_adds_to_a_name_does_not_hide_it(name, sheet):
    found = named_loosely(name)
    assert (found.name if found else None) == sheet


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["items (1).csv", "Copy of items.csv", "items_2026-11-29.csv"])
def test_a_file_with_a_lengthened_name_is_read_and_that_is_said(name):
    outcome = load(ITEMS_TEXT, name)
    assert outcome.stored
    assert "the file was read as this list, by its name" in remarks_of(outcome)


@pytest.mark.django_db
def test_a_lengthened_name_that_the_headings_belie_is_not_trusted(shop):
    text = "order,line,supplier,part_number,quantity,promised\nPO-9,1,Ring House,OR-014,5,2026-03-20\n"
    outcome = load(text, "items (2).csv")
    assert [sheet.sheet for sheet in outcome.sheets] == ["Orders"]
    assert "by its headings" in remarks_of(outcome)


@pytest.mark.django_db
def test_sheets_without_a_name_of_their_own_are_known_by_their_headings(shop):
    sheets = {"Sheet1": [["part_number", "description", "kind", "stock_unit"], ["X-1", "ring", "part", "each"]]}
    sheets["Sheet2"] = [LOTS[0], ["X-1", "L-9", 4, "A1", None]]
    outcome = load_files(files=[book_file(sheets)], by=None, at=AT)
    assert outcome.stored
    assert Lot.objects.filter(lot="L-9").exists()
    assert "the sheet Sheet2 was read as this list, by its headings" in remarks_of(outcome)


@pytest.mark.django_db
def test_a_second_sheet_that_looks_like_one_named_already_is_left_out_and_said():
    rows = [["part_number", "description", "kind", "stock_unit"], ["X-1", "ring", "part", "each"]]
    outcome = load_files(
        files=[book_file({"Items": rows, "Items (old)": [rows[0], ["X-2", "old", "part", "each"]]})], by=None, at=AT
    )
    assert outcome.stored
    assert [item.part_number for item in Item.objects.all()] == ["X-1"]
    assert "it is none of the known lists and was not read" in remarks_of(outcome)


@pytest.mark.django_db
def test_headings_that_fit_two_lists_alike_are_asked_about():
    outcome = check_files(files=[text_file("stuff.csv", "date,name,value\n2026-12-25,x,y\n")], at=AT)
    problem = only_problem(outcome)
    assert problem.reason == ("neither its name nor its headings say which list it is; it may be Settings and Holidays")
    (asked,) = outcome.unknown
    assert (asked.file, asked.likely, asked.indented) == ("stuff.csv", ("Settings", "Holidays"), False)
    assert asked.first[1] == ("2026-12-25", "x", "y")


@pytest.mark.django_db
def test_a_list_of_which_nothing_is_known_is_asked_about_with_all_names():
    problem = only_problem(check_files(files=[text_file("things.csv", "colour,weather\nred,rain\n")], at=AT))
    assert problem.reason == "neither its name nor its headings say which list it is"
    assert problem.remedy.startswith("say which list it is, or name it after one: Settings, Holidays, ")


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["bom.csv", "bom.md", "parts list.txt"])
def test_a_parts_list_that_says_what_holds_what_by_its_depth_is_known_for_one(name):
    outcome = check_files(files=[text_file(name, "level,part no,qty\n0,P-9,1\n1,E-9,2\n")], at=AT)
    assert outcome.unknown[0].indented
    assert "it may be" in only_problem(outcome).reason


@pytest.mark.django_db
def test_structure_lines_with_their_parents_are_no_indented_list(shop):
    outcome = check_files(files=[text_file("bom.csv", "parent,child,quantity\nK-1,BA-1,2\n")], at=AT)
    assert [sheet.sheet for sheet in outcome.sheets] == ["Structure"]


@pytest.mark.django_db
def test_a_list_that_was_said_to_be_one_is_read_as_that():
    lead = person_of("Service lead")
    kept = keep_upload(
        files=[text_file("things.csv", "number,what it is,kind,unit\nX-1,ring,part,each\n")], by=lead, at=AT
    )
    assert kept.state == UploadState.CHECKED
    kept = keep_upload(files=[text_file("things.csv", "part,desc\nX-1,ring\n")], by=lead, at=AT)
    assert kept.state == UploadState.REFUSED
    outcome = choose_lists(upload=kept, lists={"things.csv/things": "Items"}, charsets={}, by=lead, at=AT)
    assert {problem.column for problem in outcome.problems} == {"kind", "stock_unit"}
    kept.refresh_from_db()
    assert outcome_from_json(kept.outcome).unknown == ()


@pytest.mark.django_db
def test_a_sheet_may_be_left_out():
    told = Instructions(lists={"Sheet2": "-"})
    sheets = {"Items": [["part_number", "description", "kind", "stock_unit"], ["X-1", "ring", "part", "each"]]}
    sheets["Sheet2"] = [LOTS[0], ["X-1", "L-9", 4, "nowhere", None]]
    outcome = check_files(files=[book_file(sheets)], at=AT, instructions=told)
    assert [sheet.sheet for sheet in outcome.sheets] == ["Items"]
    assert "Sheet2: it was left out, as chosen" in remarks_of(outcome)


@pytest.mark.django_db
def test_the_command_names_the_choices_and_takes_one(tmp_path, capsys):
    path = tmp_path / "stuff.csv"
    path.write_text("date,name,value\n2026-12-25,x,y\n")
    err = io.StringIO()
    with pytest.raises(SystemExit):
        call_command("load", str(path), stderr=err)
    assert "it may be Settings and Holidays" in err.getvalue()
    assert 'load FILE --list "stuff.csv=Settings"' in err.getvalue()
    out = io.StringIO()
    call_command("load", str(path), "--list", "stuff.csv=holidays", stdout=out)
    assert "Holidays: 1 new" in out.getvalue()


@pytest.mark.parametrize(("said", "says"), [("x.csv=Thing", "there is no such sheet"), ("x.csv", "an equals sign")])
def test_the_command_refuses_what_it_cannot_understand(said, says, tmp_path, db):
    (tmp_path / "x.csv").write_text(ITEMS_TEXT)
    with pytest.raises(CommandError, match=says):
        call_command("load", str(tmp_path / "x.csv"), "--list", said)
