"""The five main tasks by the keyboard alone, with scripts and without them; and a tap on a slow network."""

import pytest
from django.contrib.auth.models import Group
from playwright.sync_api import expect

from kits.catalog.models import Item
from kits.people.models import User
from kits.picking.models import Confirmation
from kits.purchasing.models import OrderLine
from kits.schedule.models import Job, Verdict
from tests.browser.conftest import sit_down
from tests.kits.exchange.books import make_book
from tests.kits.web.shops import load_demo

REST_MS = 1300
MOST_STOPS = 250
ROLES = {"clerk": "Storeroom clerk", "planner": "Planner", "purchaser": "Purchasing", "lead": "Service lead"}
NEW_ITEM = {"Items": [["part_number", "description", "kind", "stock_unit"], ["NEW-1", "wear plate", "part", "each"]]}
SLOW = {"offline": False, "latency": 1500, "downloadThroughput": 50_000, "uploadThroughput": 50_000}
"""Bytes a second, and milliseconds: where a shop's network hardly reaches (common practice, no source)."""
FOCUSED = """wanted => {
    const node = document.activeElement, box = node.getBoundingClientRect();
    const drawn = getComputedStyle(node.closest('.verdict') || node);
    const labels = [...(node.labels || [])];
    const on_top = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
    return {
        nowhere: node === document.body,
        there: node === wanted,
        what: `${node.tagName} “${node.innerText || node.name || node.id}”`,
        shown: drawn.outlineStyle !== 'none' && parseFloat(drawn.outlineWidth) >= 2,
        covered: on_top && ![node, ...labels].some(one => one.contains(on_top) || on_top.contains(one)),
    };
}"""


@pytest.fixture
def desk_of(transactional_db, browser, live_server):
    """A page on which somebody of a role has signed in."""
    load_demo()
    contexts = []

    def desk_of(role, address, **facts):
        person, made = User.objects.get_or_create(username=role)
        if made:
            person.groups.add(Group.objects.get_or_create(name=ROLES[role])[0])
        contexts.append(browser.new_context(locale="en-GB", reduced_motion="reduce", **facts))
        page = contexts[-1].new_page()
        sit_down(page, live_server.url, person)
        page.goto(f"{live_server.url}{address}")
        return page

    yield desk_of
    for context in contexts:
        context.close()


def tab_to(page, control):
    """Press Tab until a control has the focus; wherever it stops on the way, one sees where it is."""
    expect(control).to_be_visible()
    wanted = control.element_handle()
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        stop = page.evaluate(FOCUSED, wanted)
        if stop["nowhere"]:
            continue
        assert stop["shown"], f"{page.url}: one does not see that {stop['what']} has the focus"
        assert not stop["covered"], f"{page.url}: something lies over {stop['what']}, which has the focus"
        if stop["there"]:
            return
    pytest.fail(f"{page.url}: Tab does not come to {control}")


def press(page, control):
    """Come to a control by Tab and press it, once it may be pressed."""
    page.wait_for_timeout(REST_MS)
    tab_to(page, control)
    page.keyboard.press("Enter")


def write(page, field, words):
    tab_to(page, field)
    page.keyboard.press("Control+A")
    page.keyboard.type(words)


def pick(page):
    with page.expect_navigation():
        press(page, page.get_by_role("button", name="Start a round for the ticked jobs"))
    for booked in (1, 2):
        with page.expect_navigation():
            press(page, page.locator('button[name="full"]'))
        assert Confirmation.objects.count() == booked


def move(page):
    press(page, page.get_by_role("link", name="Change J-3102", exact=True))
    before = Job.objects.get(job="J-3102").build_on
    tab_to(page, page.get_by_label("Build it on"))
    page.keyboard.press("ArrowUp")
    write(page, page.get_by_label("Why"), "the yard asked for Friday")
    press(page, page.get_by_role("button", name="Keep it", exact=True))
    press(page, page.get_by_role("button", name="Keep it all the same"))
    expect(page.get_by_text("J-3102 is changed.")).to_be_visible()
    assert Job.objects.get(job="J-3102").build_on > before


def order(page):
    press(page, page.get_by_role("link", name="Draft an order to Norrvik Seals"))
    write(page, page.get_by_label("Order number"), "PO-8001")
    press(page, page.get_by_role("button", name="Draft the ticked lines"))
    sent = page.get_by_role("button", name="It was sent")
    press(page, sent)
    expect(sent).to_have_count(0)
    assert OrderLine.objects.filter(order="PO-8001").exists()


def strip(page):
    tab_to(page, page.get_by_role("group", name="barrel bore").get_by_role("radio", checked=True))
    page.keyboard.press("ArrowRight")
    press(page, page.locator("#store"))
    expect(page.get_by_text("1 verdict written.")).to_be_visible()
    assert Verdict.objects.filter(job__job="J-3102").count() == 1


def upload(page):
    field = page.get_by_label("Workbook, or .csv files")
    tab_to(page, field)
    field.set_input_files({"name": "new.xlsx", "mimeType": "application/octet-stream", "buffer": make_book(NEW_ITEM)})
    press(page, page.get_by_role("button", name="Check the files"))
    load = page.get_by_role("button", name="Load these lists")
    press(page, load)
    expect(load).to_have_count(0)
    assert Item.objects.filter(part_number="NEW-1").exists()


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_the_five_main_tasks_are_done_by_keys_alone(desk_of, scripts):
    for do, role, address in (
        (pick, "clerk", "/picking/"),
        (move, "planner", "/job-list/?find=J-3102"),
        (order, "purchaser", "/purchasing/due/?supplier=Norrvik+Seals"),
        (strip, "lead", "/strip-report/J-3102/"),
        (upload, "lead", "/upload/"),
    ):
        do(desk_of(role, address, java_script_enabled=scripts))


def test_a_second_tap_on_a_slow_network_books_nothing(desk_of):
    page = desk_of("clerk", "/picking/", viewport={"width": 834, "height": 1112}, has_touch=True)
    devtools = page.context.new_cdp_session(page)
    devtools.send("Network.enable")
    devtools.send("Network.emulateNetworkConditions", SLOW)
    devtools.send("Emulation.setCPUThrottlingRate", {"rate": 4})
    page.wait_for_timeout(REST_MS)
    page.get_by_role("button", name="Start a round for the ticked jobs").tap()
    full = page.locator('button[name="full"]')
    expect(full).to_be_visible()
    page.wait_for_timeout(REST_MS)
    box = full.bounding_box()
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.touchscreen.tap(*middle)
    page.wait_for_timeout(300)
    page.touchscreen.tap(*middle)
    expect(page.locator(".booked")).to_be_visible()
    page.wait_for_load_state("networkidle")
    assert Confirmation.objects.count() == 1
