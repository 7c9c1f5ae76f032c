"""The pages in a browser: nothing for the console to say or for axe to find, and usable without mouse or script."""

import re
import shutil
import subprocess

import pytest
from django.contrib.auth.models import Group
from playwright.sync_api import expect

from kits.people.models import User
from tests.browser.looks import PAST_THE_WINDOW, barriers_of, faults_of

PAGES = [
    "/", "/schedule/", "/batches/Spring refit/", "/batches/Easter stop/", "/jobs/J-3111/", "/jobs/J-3101/",
    "/shortages/", "/storeroom/", "/purchasing/", "/pumps-and-parts/", "/pumps/SKARN-64T/", "/parts/SE-M/",
    "/kits/K-E12N/", "/upload/", "/search/?q=seat", "/shelf/Easter stop/", "/try/",
    "/try/?job=J-3122&move_to=2026-03-31", "/purchasing/due/", "/purchasing/offers/", "/purchasing/replies/",
    "/shortages/wear/", "/shortages/orders/", "/shortages/pack/?batch=Spring refit", "/shortages/lots/",
    "/batch-sheets/advice/Easter stop/", "/batch-sheets/kits/Spring refit/", "/batch-sheets/kinds/Spring refit/",
    "/sections/J-3111/", "/strip-report/J-3111/", "/worked-out/needs/SE-M/", "/worked-out/part/SE-M/",
    "/worked-out/chase/PO-7102/?also=1", "/freeing/", "/waiting/", "/changes/", "/week/?week=2026-03-09",
]  # fmt: skip


def test_pages_of_a_full_shop_are_quiet_and_sound_at_every_width(shop_address, page, said, sign_in):
    """Full lists and grids; in the other sets of colours every kind of page is looked at by `test_every_page`."""
    sign_in(page, shop_address)
    wrong = []
    for address in PAGES:
        page.goto(f"{shop_address}{address}")
        wrong += [f"{address}: {one}" for one in faults_of(page, sets={})]
    assert wrong == [], "\n".join(wrong)
    assert said == []


def test_today_of_each_role_is_quiet_accessible_and_at_most_three_screens_long(shop_address, page, said, sign_in):
    User.objects.get(username="planner").groups.add(Group.objects.get(name="Administrator"))
    sign_in(page, shop_address)
    faults, wrong = [], []
    for whose in ("planner", "clerk", "purchaser", "lead"):
        page.set_viewport_size({"width": 1280, "height": 900})
        page.goto(f"{shop_address}/?for={whose}")
        expect(page.get_by_role("link", name="Service lead")).to_be_visible()
        faults += barriers_of(page)
        wrong += [whose] if page.evaluate("document.documentElement.scrollHeight") > 3 * 900 else []
        for width in (834, 360):
            page.set_viewport_size({"width": width, "height": 1000})
            wrong += [(whose, width)] if page.evaluate(PAST_THE_WINDOW) else []
    assert faults == []
    assert wrong == []
    assert said == []


def test_slash_goes_to_the_search_field_and_enter_to_the_part(shop_address, page, sign_in):
    sign_in(page, shop_address)
    page.keyboard.press("/")
    field = page.get_by_role("searchbox", name="Find a part")
    expect(field).to_be_focused()
    expect(field).to_have_value("")
    page.keyboard.type("SE-M/")
    expect(field).to_have_value("SE-M/")
    page.keyboard.press("Backspace")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("SE-M")


def test_first_tab_offers_to_skip_to_the_sheet(shop_address, page, sign_in):
    sign_in(page, shop_address)
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the sheet")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#sheet")).to_be_focused()


def test_figure_in_the_grid_leads_to_its_arithmetic(shop_address, page, sign_in):
    sign_in(page, shop_address, "/batches/Easter stop/")
    page.get_by_role("row", name="J-3118").get_by_role("link", name="4", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("SE-M, worked out")
    working = page.locator("[id='why-SE-M--J-3118']")
    expect(working).to_contain_text("2 CK-M per E34 × 1 E34 × 2 pumps = 4")


def test_line_that_is_opened_is_fetched_into_the_sheet_once(shop_address, page, said, sign_in):
    sign_in(page, shop_address, "/shortages/?batch=Easter stop")
    asked = []
    page.on("request", lambda request: asked.append(request.url) if "/worked-out/" in request.url else None)
    line = page.get_by_text("needed − 6 from the shelf")
    line.focus()
    page.keyboard.press("Enter")
    working = page.get_by_text("J-3118: 4 needed, 4 missing")
    expect(working).to_be_visible()
    page.keyboard.press("Enter")
    expect(working).to_be_hidden()
    page.keyboard.press("Enter")
    expect(working).to_be_visible()
    assert asked == [f"{shop_address}/worked-out/needs/SE-M/?batch=Easter+stop"]
    assert barriers_of(page) == []
    assert said == []


def test_line_that_cannot_be_fetched_keeps_the_way_to_its_own_sheet(shop_address, page, sign_in):
    sign_in(page, shop_address, "/shortages/?batch=Easter stop")
    page.context.clear_cookies()
    page.get_by_text("needed − 6 from the shelf").click()
    page.get_by_role("link", name="The same on a sheet of its own").locator("visible=true").click()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()


def test_grid_keeps_its_first_two_columns_on_a_tablet(shop_address, page, sign_in):
    page.set_viewport_size({"width": 600, "height": 900})
    sign_in(page, shop_address, "/batches/Easter stop/")
    grid = page.get_by_role("region", name="Jobs and what holds them")
    row = grid.get_by_role("row", name="J-3124")
    held = [row.locator(".held.one"), row.locator(".held.two")]
    before = [cell.bounding_box()["x"] for cell in held]
    last = row.locator("td").last
    assert last.bounding_box()["x"] > 600
    grid.evaluate("node => node.scrollLeft = 4000")
    assert [cell.bounding_box()["x"] for cell in held] == before
    assert last.bounding_box()["x"] < 600


def test_choosing_a_supplier_changes_the_sheet_at_once(shop_address, page, said, sign_in):
    sign_in(page, shop_address, "/shortages/")
    page.get_by_role("combobox", name="Supplier").select_option("Norrvik Seals")
    expect(page.get_by_role("link", name="SE-M").first).to_be_hidden()
    expect(page.get_by_role("link", name="CS-34-U").first).to_be_visible()
    expect(page).to_have_url(re.compile(r"/shortages/\?supplier=Norrvik(\+|%20)Seals$"))
    assert said == []


def test_everything_works_without_script(shop_address, browser, sign_in):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    sign_in(page, shop_address)
    page.get_by_role("link", name="Schedule").click()
    page.get_by_role("link", name="Easter stop").click()
    page.get_by_role("link", name="To buy: sure needs").click()
    page.get_by_text("needed − 6 from the shelf").click()
    page.get_by_role("link", name="The same on a sheet of its own").locator("visible=true").click()
    expect(page.get_by_text("J-3118: 4 needed, 4 missing")).to_be_visible()
    page.get_by_role("searchbox").fill("K-E12N")
    page.get_by_role("searchbox").press("Enter")
    expect(page.get_by_role("heading", name="Does it fit E12?")).to_be_visible()
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    context.close()


def test_change_is_tried_and_kept_without_script(shop_address, browser, sign_in):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    sign_in(page, shop_address, "/batches/Easter stop/")
    page.get_by_role("combobox", name="Job").select_option("J-3122")
    page.get_by_label("Build it on").fill("2026-03-31")
    page.get_by_role("button", name="Set both plans side by side").click()
    expect(page.get_by_role("row", name="J-3119 loses")).to_be_visible()
    page.get_by_role("link", name="Leave everything as it is").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Easter stop")
    page.go_back()
    page.get_by_label("Why").fill("the ferry sails on 1 April")
    page.get_by_role("button", name="Keep this change of J-3122").click()
    expect(page.get_by_role("status")).to_contain_text("J-3122 is kept as tried: built on 31 Mar.")
    page.goto(f"{shop_address}/jobs/J-3122/")
    expect(page.get_by_role("region", name="Changes of this job")).to_contain_text("the ferry sails on 1 April")
    context.close()


def test_touch_leaves_room_for_a_gloved_finger(shop_address, browser, sign_in):
    context = browser.new_context(viewport={"width": 820, "height": 1100}, has_touch=True, is_mobile=True)
    page = context.new_page()
    sign_in(page, shop_address, "/shortages/")
    page.evaluate("document.querySelectorAll('details').forEach(node => { node.open = true; })")
    small = [
        control.inner_text() or control.evaluate("node => node.outerHTML")
        for control in page.locator(".button, .find input, select").all()
        if control.bounding_box()["height"] < 44
    ]
    context.close()
    assert small == []


CLOSED = """() => [...document.querySelectorAll('main details:not([open]) > summary')]
    .filter(node => node.closest('.figure-why') && !node.closest('.no-print'))
    .filter(node => !node.parentElement.parentElement.closest('details'))
    .map(node => [node.innerText.split('\\n')[0], node.checkVisibility()])"""


def test_a_figure_that_is_closed_is_printed_with_its_value(shop_address, page, sign_in):
    sign_in(page, shop_address, "/worked-out/part/SE-M/")
    page.emulate_media(media="print")
    found = page.evaluate(CLOSED)
    assert len(found) >= 3
    assert [words for words, shown in found if not shown] == []


BOX = re.compile(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)")


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="no pdftotext on this machine (poppler-utils has it)")
def test_list_of_wear_prints_on_its_long_side_with_repeated_heads(shop_address, page, sign_in, tmp_path):
    """A4 is 842 by 595 points, Letter 792 by 612; each sheet carries its number, each part of a table its head."""
    sign_in(page, shop_address, "/shortages/wear/")
    for paper, size in (("A4", (842, 595)), ("Letter", (792, 612))):
        path = tmp_path / f"{paper}.pdf"
        page.pdf(path=path, format=paper)
        boxes = {tuple(round(float(side)) for side in box) for box in BOX.findall(path.read_bytes())}
        assert {(abs(width - size[0]) <= 1, abs(height - size[1]) <= 1) for width, height in boxes} == {(True, True)}
        words = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True).stdout
        sheets = words.rstrip("\f").split("\f")
        assert all(f"Sheet {number} of {len(sheets)}" in sheet for number, sheet in enumerate(sheets, 1))
        assert sum("Chance that" in sheet for sheet in sheets) >= 2, "on Letter the head takes two lines"
