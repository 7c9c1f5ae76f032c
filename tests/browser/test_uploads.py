"""Lists come in on a tablet: every page on the way fits, is accessible and quiet, and nothing typed is lost."""

import io
import re

import openpyxl
import pytest
from django.contrib.auth.models import Group
from playwright.sync_api import expect

from kits.catalog.models import Item
from kits.exchange import upload_workers
from kits.exchange.models import Upload, UploadedFile
from kits.people.models import User
from tests.browser.looks import PAST_THE_WINDOW, barriers_of
from tests.kits.exchange.books import AT, make_book
from tests.kits.web.shops import load_demo

WORD = "a long word of passage"
ITEMS = ["part_number", "description", "kind", "stock_unit"]
GOOD = {"Items": [ITEMS, ["NEW-1", "wear plate", "part", "each"], ["SE-M", "seat, lapped", "part", "each"]]}
BAD = {
    "Items": [[*ITEMS[:3], "UOM", "Our shelf"], ["NEW-1", None, "prt", "pack", "far left"]],
    "Lots": [["part_number", "lot", "quantity", "place", "cure"], ["SE-M", "L-7", "1,500", "A1", "5Q20"]],
}
INDENTED = "E34\t1\n  SE-M\t4\n  NO-SUCH-PART\t2"


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args):
    return {**browser_context_args, "viewport": {"width": 834, "height": 1112}, "locale": "en-GB"}


@pytest.fixture
def desk(transactional_db, page, live_server):
    """The administrator of the demo shop, signed in; an answer of 422 on the console is no fault of the page."""
    said = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    load_demo()
    person = User.objects.create_user("keeper", password=WORD)
    group, _ = Group.objects.get_or_create(name="Administrator")
    person.groups.add(group)
    sign_in(page, live_server.url)
    yield page
    assert [words for words in said if "422" not in words] == []


def sign_in(page, address):
    page.goto(f"{address}/sign-in/?next=/upload/")
    page.get_by_label("Name").fill("keeper")
    page.get_by_label("Password").fill(WORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name="Upload lists")).to_be_visible()


def is_sound(page):
    """Nothing for axe to find, and nothing beyond the window on a tablet or with everything twice as large."""
    page.evaluate("document.querySelectorAll('details').forEach(node => { node.open = true; })")
    assert barriers_of(page) == [], page.url
    for width in (834, 417):
        page.set_viewport_size({"width": width, "height": 1112})
        assert not page.evaluate(PAST_THE_WINDOW), f"{page.url} at {width}"
    page.set_viewport_size({"width": 834, "height": 1112})


def bring(page, address, content, name="lists.xlsx"):
    page.goto(f"{address}/upload/")
    files = {"name": name, "mimeType": "application/octet-stream", "buffer": content}
    page.get_by_label("Workbook, or .csv files").set_input_files(files)
    page.get_by_role("button", name="Check the files").click()


def test_the_pages_are_sound_before_anything_came(desk, live_server):
    for path in ("", "history/", "sheets/", "paste/Schedule/", "paste/Structure/", "indented/"):
        desk.goto(f"{live_server.url}/upload/{path}")
        is_sound(desk)


def test_a_workbook_is_checked_loaded_and_taken_back(desk, live_server):
    bring(desk, live_server.url, make_book(GOOD))
    expect(desk.get_by_text("Nothing is stored yet.")).to_be_visible()
    is_sound(desk)
    desk.get_by_role("link", name="1 changed").click()
    expect(desk.get_by_role("cell", name="NEW-1")).to_have_count(0)
    desk.get_by_role("button", name="Load these lists").click()
    expect(desk.get_by_text("These lists are loaded.")).to_be_visible()
    is_sound(desk)
    desk.get_by_role("button", name=re.compile("Take upload")).click()
    expect(desk.get_by_text("This upload was taken back.")).to_be_visible()
    is_sound(desk)
    assert not Item.objects.filter(part_number="NEW-1").exists()
    desk.goto(f"{live_server.url}/upload/history/")
    is_sound(desk)


def test_files_that_are_too_large_are_told_before_they_are_sent(desk, tmp_path):
    for name in ("items.csv", "lots.csv"):
        (tmp_path / name).write_text("x" * 3_000_000)
    field = desk.get_by_label("Workbook, or .csv files")
    says = "node => node.validationMessage"
    field.set_input_files(tmp_path / "items.csv")
    assert field.evaluate(says) == ""
    field.evaluate("node => { node.dataset.mostMb = 2; }")
    field.set_input_files(tmp_path / "lots.csv")
    assert "have 3 MB, more than the 2 that are read at once" in field.evaluate(says)


def test_a_workbook_full_of_problems_is_read_row_by_row(desk, live_server):
    bring(desk, live_server.url, make_book(BAD))
    expect(desk.get_by_role("heading", name="Problems")).to_be_visible()
    is_sound(desk)
    desk.get_by_label("Our shelf").select_option("home_place")
    desk.get_by_role("button", name="Read the files with these headings").click()
    expect(desk.get_by_text("which are remembered for you")).to_be_visible()
    is_sound(desk)


def test_a_list_with_a_problem_stands_in_its_field_again(desk, live_server):
    desk.goto(f"{live_server.url}/upload/indented/")
    desk.get_by_label("The list").fill(INDENTED)
    desk.get_by_label(re.compile("At a rebuild")).select_option("inspect")
    desk.get_by_role("button", name="Check the list").click()
    is_sound(desk)
    desk.get_by_role("link", name="Put it right in the field").click()
    expect(desk.get_by_label("The list")).to_have_value(INDENTED)
    expect(desk.get_by_label(re.compile("At a rebuild"))).to_have_value("inspect")


def test_a_long_list_shows_how_far_it_is(desk, live_server):
    worked_on = Upload.objects.create(state="checking", worker=upload_workers.this_process(), worked_on_at=AT, at=AT)
    UploadedFile.objects.create(upload=worked_on, name="long.xlsx", digest="0" * 64, content=b"")
    upload_workers._running[worked_on.pk] = upload_workers.Progress("Reading Items", 2000, 9000)
    try:
        desk.goto(f"{live_server.url}/upload/{worked_on.pk}/")
        expect(desk.get_by_text("Reading Items: 2 000 of 9 000 rows")).to_be_visible()
        is_sound(desk)
    finally:
        upload_workers._running.pop(worked_on.pk)
    desk.reload()
    expect(desk.get_by_text("Nobody is working at this upload any more.")).to_be_visible()
    is_sound(desk)


def test_lists_go_out_come_in_and_are_pasted_without_script(desk, browser, live_server):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    sign_in(page, live_server.url)
    page.get_by_role("link", name="structure lines", exact=True).click()
    page.get_by_label("Rows from the spreadsheet").fill("child\tquantity\tat_rebuild\tposition\nSE-M\t1\trenew\tspare")
    page.get_by_role("button", name="Check the rows").click()
    expect(page.get_by_text("The rows do not say what holds them")).to_be_visible()
    page.get_by_label(re.compile("Part number that holds them")).fill("E34")
    page.get_by_role("button", name="Check the rows").click()
    expect(page.get_by_text("1 new, 0 changed, 0 the same")).to_be_visible()
    page.get_by_role("button", name="Put aside, change nothing").click()
    expect(page.get_by_text("The upload was put aside; nothing was changed.")).to_be_visible()
    with page.expect_download() as loading:
        page.get_by_role("link", name="A workbook of all sheets to fill in").click()
    assert "Items" in openpyxl.load_workbook(io.BytesIO(loading.value.path().read_bytes())).sheetnames
    context.close()
