"""Other ways in than a file, lists and templates out, the history of uploads, and taking one back."""

import csv
import io
import re
import zipfile

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from kits.catalog.models import Item, StructureLine
from kits.exchange.models import Upload
from kits.schedule.models import Job
from tests.kits.persons import person_of
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
ONE_MORE = b"part_number,description,kind,stock_unit\nBA-1,ball 7/16,part,each\nBA-2,ball 1/4,part,each\n"
JOBS = "job\tpump\tscope\tbuild date\nJ-7\tP-1\tfull\t2026-04-01"


def send(keeper, content, name="items.csv", **fields):
    return keeper.post("/upload/", {"lists": [SimpleUploadedFile(name, content)], **fields}, follow=True)


def latest():
    return Upload.objects.order_by("-pk")[0]


def confirm(keeper):
    return sheet_of(keeper.post(f"/upload/{latest().pk}/confirm/", {"load": "1"}, follow=True))


def test_pasted_jobs_are_previewed_and_stored_when_they_are_confirmed(small_shop, keeper):
    sheet = sheet_of(keeper.post("/upload/paste/Schedule/", {"cells": JOBS}, follow=True))
    assert "Nothing is stored yet." in sheet
    assert "2 J-7 new" in sheet
    assert not Job.objects.filter(job="J-7").exists()
    confirm(keeper)
    assert Job.objects.get(job="J-7").pump.part_number == "P-1"


def test_pasted_rows_with_a_problem_come_back_into_the_field(small_shop, keeper):
    sheet = sheet_of(keeper.post("/upload/paste/Schedule/", {"cells": JOBS.replace("P-1", "P-7")}, follow=True))
    assert "Schedule row 2, pump P-7" in sheet
    again = keeper.get(f"/upload/paste/Schedule/?again={latest().pk}").content.decode()
    assert "J-7\tP-7\tfull\t2026-04-01" in again


def test_pasted_lines_that_nothing_holds_are_asked_about_beside_the_field(small_shop, keeper):
    answer = keeper.post("/upload/paste/Structure/", {"cells": "child\tquantity\nBA-1\t4"})
    assert answer.status_code == 422
    assert "The rows do not say what holds them: write the part number here" in sheet_of(answer)
    assert "BA-1\t4" in answer.content.decode()


LIST = {"cells": " E-1\t\n  . BA-7\t4", "at_rebuild": "inspect", "shape": "signs", "parent": "P-1", "pump": ""}
ROWS = {"cells": "child\tquantity\tat_rebuild\nBA-7\t'4\trenew\n", "parent": "E-1"}


@pytest.mark.parametrize(("address", "typed"), [("/upload/indented/", LIST), ("/upload/paste/Structure/", ROWS)])
def test_everything_that_was_typed_comes_back_into_its_field(small_shop, keeper, address, typed):
    preview = " ".join(keeper.post(address, typed, follow=True).content.decode().split())
    assert "Put it right in the field" in preview
    again = keeper.get(re.search(r'href="([^"]+)">Put it right in the field', preview)[1])
    assert {name: again.context["form"][name].value() for name in typed} == typed


def test_what_was_pasted_can_be_changed_before_it_is_loaded(small_shop, keeper):
    preview = keeper.post("/upload/indented/", {"cells": "E-1\n. BA-1\t4", "at_rebuild": "renew"}, follow=True)
    assert "Back to the field" in sheet_of(preview)
    assert "Pasted indented list" in sheet_of(preview)


def test_pasted_lines_belong_to_the_part_whose_page_it_was(small_shop, keeper):
    assert "/upload/paste/Structure/?parent=P-1" in keeper.get("/pumps/P-1/").content.decode()
    keeper.post("/upload/paste/Structure/", {"cells": "BA-1\t4\t\trenew\tspare ball", "parent": "P-1"}, follow=True)
    confirm(keeper)
    line = StructureLine.objects.get(position="spare ball")
    assert (line.parent.part_number, line.child.part_number, line.quantity) == ("P-1", "BA-1", 4_000_000)


def test_an_indented_list_becomes_lines(small_shop, keeper):
    cells = "E-1\t\n. BA-1\t4"
    refused = keeper.post("/upload/indented/", {"cells": cells})
    assert refused.status_code == 422
    assert "Choose what happens at a rebuild" in sheet_of(refused)
    sheet = sheet_of(keeper.post("/upload/indented/", {"cells": cells, "at_rebuild": "renew"}, follow=True))
    assert "the list was read by dots, spaces or dashes" in sheet
    assert "Structure 1 new" in sheet


@pytest.mark.parametrize("address", ["/upload/paste/Schedule/", "/upload/indented/"])
def test_nothing_pasted_is_said_beside_the_field(keeper, address):
    answer = keeper.post(address, {"cells": " \n", "at_rebuild": "renew"})
    assert answer.status_code == 422
    assert "Nothing was pasted" in sheet_of(answer)


def test_other_sheets_are_not_pasted(keeper):
    assert keeper.get("/upload/paste/Orders/").status_code == 404


@pytest.mark.parametrize(
    ("sheet", "cells", "found"),
    [
        ("Items", "X-9\tsmall ring\tpart\teach\tsteel", "Items 1 new"),
        ("Lots", "BA-1\tB-9\t4\tA1", "Lots 1 new"),
    ],
)
def test_items_and_lots_are_pasted_as_they_lie_in_a_spreadsheet(small_shop, keeper, sheet, cells, found):
    assert f"Paste {sheet.lower()}" in sheet_of(keeper.get(f"/upload/paste/{sheet}/"))
    preview = sheet_of(keeper.post(f"/upload/paste/{sheet}/", {"cells": cells}, follow=True))
    assert found in preview
    assert "no headings were pasted" in preview
    assert "These lists are loaded." in confirm(keeper)


def test_what_a_replacing_sheet_removes_is_named_before_anything_happens(small_shop, keeper):
    places = b"place,walk_order\nA1,10\n"
    sheet = sheet_of(send(keeper, places, "places.csv", replaced=["Places"]))
    assert "1 entry is removed, because Places replaces everything stored before." in sheet
    assert "Removed: Q1" in sheet
    assert "Load these lists and remove 1 entry" in sheet


def test_a_sheet_that_did_not_come_is_not_replaced(small_shop, keeper):
    sheet = sheet_of(send(keeper, ONE_MORE, replaced=["Places"]))
    assert "the sheet is to be replaced, but no file holds it" in sheet
    assert send(keeper, ONE_MORE, replaced=["Rings"]).status_code == 422


def test_the_preview_is_narrowed_down_by_kind_and_sheet(small_shop, keeper):
    send(keeper, ONE_MORE)
    address = f"/upload/{latest().pk}/"
    new, changed = (sheet_of(keeper.get(f"{address}?show={kind}")) for kind in ("new", "changed"))
    assert "3 BA-2 new" in new
    assert "2 BA-1 description" not in new
    assert "2 BA-1 description ball ball 7/16" in changed
    assert "3 BA-2" not in changed
    assert "3 BA-2 new" in sheet_of(keeper.get(f"{address}?sheet=Items&show=nonsense"))


def test_one_problem_is_one_problem_in_the_filter_too(small_shop, keeper):
    sheet = sheet_of(send(keeper, ONE_MORE.replace(b"each\nBA-2", b"pack\nBA-2")))
    assert "1 problem: nothing was stored." in sheet
    assert "1 problems" not in sheet


def test_a_long_list_says_how_many_rows_differ_and_how_many_are_shown(small_shop, keeper):
    rows = "".join(f"BULK-{number},bulk part,part,each\n" for number in range(1200))
    sheet = sheet_of(send(keeper, f"part_number,description,kind,stock_unit\n{rows}".encode()))
    assert "Items 1 200 new, 0 changed, 0 the same 1 200 rows that differ; the first 500 are shown" in sheet


def test_the_file_is_named_at_each_problem_only_where_there_are_several(small_shop, keeper):
    bad = b"part_number,description,kind,stock_unit\nBA-1,ball,prt,each\n"
    assert "items.csv, Items row 2" not in sheet_of(send(keeper, bad))
    two = [SimpleUploadedFile("items.csv", bad), SimpleUploadedFile("places.csv", b"place\nA7\n")]
    assert "items.csv, Items row 2, kind" in sheet_of(keeper.post("/upload/", {"lists": two}, follow=True))


def test_an_upload_is_taken_back_from_its_page_and_the_history_says_so(small_shop, keeper):
    send(keeper, ONE_MORE)
    assert "Take upload" in confirm(keeper)
    number = latest().pk
    assert "This upload was taken back." in sheet_of(keeper.post(f"/upload/{number}/undo/", follow=True))
    assert not Item.objects.filter(part_number="BA-2").exists()
    assert "there is nothing to take back" in sheet_of(keeper.post(f"/upload/{number}/undo/", follow=True))
    history = sheet_of(keeper.get("/upload/history/"))
    for words in (
        "items.csv",
        latest().files.get().digest[:12],
        "taken back by Kit Keeper",
        "Items: 1 new, 1 changed",
    ):
        assert words in history


def test_strange_headings_are_offered_chosen_and_remembered(small_shop, keeper):
    mine = b"Our no.,What,kind,stock_unit\nBA-3,ball,part,each\n"
    sheet = sheet_of(send(keeper, mine))
    assert "Headings that are not known" in sheet
    assert not Item.objects.filter(part_number="BA-3").exists()
    number = latest().pk
    twice = keeper.post(f"/upload/{number}/headings/", {"0.0": "part_number", "0.1": "part_number"}, follow=True)
    assert "cannot both be part_number" in sheet_of(twice)
    chosen = {"0.0": "part_number", "0.1": "description"}
    sheet = sheet_of(keeper.post(f"/upload/{number}/headings/", chosen, follow=True))
    assert "Nothing is stored yet." in sheet
    assert "this heading was read as part_number, as chosen" in sheet
    confirm(keeper)
    assert Item.objects.get(part_number="BA-3").description == "ball"
    assert "Nothing is stored yet." in sheet_of(send(keeper, mine.replace(b"BA-3", b"BA-4")))


def test_choices_of_headings_are_ones_own(small_shop, keeper, client):
    mine = b"Our no.,description,kind,stock_unit\nBA-3,ball,part,each\n"
    send(keeper, mine)
    keeper.post(f"/upload/{latest().pk}/headings/", {"0.0": "part_number"})
    client.force_login(person_of("Service lead", "other"))
    assert "this column is missing" in sheet_of(send(client, mine))


def test_lists_and_templates_are_downloaded(small_shop, keeper):
    book = openpyxl.load_workbook(io.BytesIO(keeper.get("/upload/lists/").content))
    assert "Items" in book.sheetnames
    text = keeper.get("/upload/lists/?sheet=Items&as=text").content.decode("utf-8-sig")
    assert "BA-1" in {row["part_number"] for row in csv.DictReader(io.StringIO(text))}
    with zipfile.ZipFile(io.BytesIO(keeper.get("/upload/lists/?as=text&decimal=comma").content)) as archive:
        assert b"part_number;description" in archive.read("items.csv")
    book = openpyxl.load_workbook(io.BytesIO(keeper.get("/upload/templates/?sheet=Lots").content))
    assert book.sheetnames == ["Lots"]
    assert keeper.get("/upload/lists/?sheet=Rings").status_code == 404
    assert "Text: 0012 stays 0012" in sheet_of(keeper.get("/upload/sheets/"))


def test_who_may_not_upload_may_not_paste_or_take_back(small_shop, client):
    client.force_login(person_of(""))
    for address in ("/upload/paste/Schedule/", "/upload/indented/", "/upload/history/"):
        assert client.get(address).status_code == 403
    assert client.post("/upload/1/undo/").status_code == 403
    assert "Paste lines" not in sheet_of(client.get("/pumps/P-1/"))
    assert client.get("/upload/sheets/").status_code == 200
