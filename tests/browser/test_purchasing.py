"""The purchaser orders from the list, and takes a supplier's reply back, on a tablet and with the keyboard."""

import io
import re
from datetime import datetime

import openpyxl
import pytest
from django.contrib.auth.models import Group
from playwright.sync_api import expect

from kits.people.models import User
from kits.purchasing.models import OrderLine, SupplierQuote
from tests.browser.looks import PAST_THE_WINDOW, barriers_of
from tests.kits.web.shops import load_demo

WORD = "a long word of passage"
LISTS = [
    "purchasing/", "purchasing/due/", "purchasing/offers/", "purchasing/replies/", "purchasing/quotes/",
    "shortages/", "shortages/?supplier=Norrvik+Seals", "shortages/?batch=Easter+stop",
]  # fmt: skip


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args):
    return {**browser_context_args, "viewport": {"width": 820, "height": 1180}, "locale": "en-GB"}


@pytest.fixture
def desk(transactional_db, page, live_server, said):
    """The purchaser of the demo shop, signed in."""
    load_demo()
    person = User.objects.create_user("purchaser", password=WORD)
    group, _ = Group.objects.get_or_create(name="Purchasing")
    person.groups.add(group)
    page.goto(f"{live_server.url}/sign-in/?next=/purchasing/")
    page.get_by_label("Name").fill("purchaser")
    page.get_by_label("Password").fill(WORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name="Purchasing")).to_be_visible()
    yield page
    assert said == []


def is_sound(page):
    """Nothing for axe to find, and nothing beyond the window."""
    assert barriers_of(page) == [], page.url
    assert not page.evaluate(PAST_THE_WINDOW), page.url


def look_for_a_second(page):
    """Nothing is booked that was not on the screen for a second."""
    page.wait_for_timeout(1100)


def filled_in(content):
    book = openpyxl.load_workbook(io.BytesIO(content))
    sheet = book["Shortages"]
    head = {cell.value: cell.column for cell in sheet[7]}
    rows = {sheet.cell(row, head["Key"]).value: row for row in range(8, sheet.max_row + 1)}
    for key, quantity in (("OR-011-F75X / sure", 10), ("SE-M / sure", "a box")):
        sheet.cell(rows[key], head["Reply: quantity"], quantity)
        sheet.cell(rows[key], head["Reply: promised"], datetime(2026, 3, 18))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_a_reply_is_taken_back_put_right_and_accepted(desk, live_server):
    desk.goto(f"{live_server.url}/purchasing/replies/")
    is_sound(desk)
    with desk.expect_download() as loading:
        desk.get_by_role("link", name="Download the shortage workbook").click()
    content = filled_in(loading.value.path().read_bytes())
    desk.get_by_label(re.compile("The filled-in workbook")).set_input_files(
        {"name": "back.xlsx", "mimeType": "application/octet-stream", "buffer": content}
    )
    desk.get_by_role("button", name="Take the reply back").click()
    expect(desk.get_by_role("heading", name="back.xlsx")).to_be_visible()
    is_sound(desk)
    look_for_a_second(desk)
    desk.get_by_role("button", name="Accept the ticked lines").click()
    expect(desk.get_by_text("1 of 2 lines still to be decided.")).to_be_visible()
    desk.get_by_role("link", name=re.compile("Answer.*SE-M")).click()
    is_sound(desk)
    desk.get_by_label("as it is written in the fields below").check()
    desk.get_by_label("Quantity, in our unit").fill("15")
    look_for_a_second(desk)
    desk.get_by_role("button", name="Accept this").press("Enter")
    expect(desk.get_by_text("Every line is decided.")).to_be_visible()
    assert not OrderLine.objects.filter(order="PO-8002").exists()
    desk.get_by_role("link", name="Quotes and refusals").click()
    is_sound(desk)
    desk.go_back()
    desk.get_by_role("link", name=re.compile("Order the . quoted line")).first.click()
    is_sound(desk)
    draft_and_send(desk, "PO-8002")
    assert SupplierQuote.objects.filter(order_line__order="PO-8002").exists()


def test_nothing_of_a_list_lies_beyond_the_edge_of_a_tablet(desk, live_server):
    """A list that has to be pushed sideways hides its last columns: order by, here on, valid to."""
    hidden = """[...document.querySelectorAll('.scroll')].filter(one => one.scrollWidth > one.clientWidth)
        .map(one => one.getAttribute('aria-label'))"""
    for path in LISTS:
        desk.goto(f"{live_server.url}/{path}")
        is_sound(desk)
        assert desk.evaluate(hidden) == [], path


def draft_and_send(desk, number):
    desk.get_by_label("Order number").fill(number)
    look_for_a_second(desk)
    desk.get_by_role("button", name="Draft the ticked lines").click()
    expect(desk.get_by_role("heading", name=re.compile(number))).to_be_visible()
    is_sound(desk)
    assert not OrderLine.objects.filter(order=number).exists(), "a draft is no supply"
    look_for_a_second(desk)
    desk.get_by_role("button", name="It was sent").click()
    expect(desk.get_by_role("button", name="It was sent")).to_have_count(0)
    assert OrderLine.objects.filter(order=number).exists()


def test_an_order_is_entered_from_the_list_and_its_promise_moved(desk, live_server):
    desk.goto(f"{live_server.url}/purchasing/due/?supplier=Norrvik+Seals")
    desk.get_by_role("link", name="Draft an order to Norrvik Seals").click()
    is_sound(desk)
    draft_and_send(desk, "PO-8001")
    line = OrderLine.objects.filter(order="PO-8001").first()
    desk.goto(f"{live_server.url}/purchasing/lines/{line.pk}/")
    is_sound(desk)
    desk.get_by_label("New day at our door").fill("2026-04-30")
    desk.get_by_label("Why the day moves, and who said so").fill("the press broke, says Ms Lind")
    desk.get_by_role("button", name="Change the promise").click()
    expect(desk.get_by_role("cell", name="the press broke, says Ms Lind")).to_be_visible()
