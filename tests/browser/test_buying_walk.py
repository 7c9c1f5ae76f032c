"""From the shortage to the shelf at the demo's desks: asked, compared, ordered, promised late, chased, taken in."""

import io
import re
from datetime import date

import openpyxl
import pytest
from django.contrib.auth.models import Group
from django.db import transaction
from playwright.sync_api import expect

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import Setting
from kits.people.models import User
from kits.people.roles import PURCHASING, STOREROOM_CLERK
from kits.planning.queries import plan_now, reading_of
from kits.purchasing.models import OrderLine, PurchaseOrder, SupplierCall
from kits.purchasing.return_models import SupplierReturn
from kits.stock.queries import ledger_differences
from tests.kits.web.shops import load_demo

WORD = "the word of the desk"
REST_MS = 1200
SEALS, PUMPS = "Norrvik Seals", "Lantry Pump Agency"
"""Who is asked. J-3106 waits for two backup rings BR-112 and for nothing else; cup seals CS-34-U live five years."""

OF_SEALS = {
    "OR-011-F75X": {"Price per pack": 41, "Packs": 2, "Promised at our door": date(2026, 3, 20)},
    "CS-34-U": {"Price per pack": 47, "Packs": 1, "Promised at our door": date(2026, 3, 10)},
    "BR-112": {"No bid": "no bid"},
}
OF_PUMPS = {
    "BR-112": {"Price per pack": 4, "Packs": 2, "Promised at our door": date(2026, 3, 9)},
    "K-E12F": {"No bid": "no bid"},
    "K-D6": {"Price per pack": 96, "Packs": 2, "Promised at our door": date(2026, 3, 25)},
}


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args):
    return {**browser_context_args, "viewport": {"width": 1280, "height": 900}, "locale": "en-GB"}


@pytest.fixture
def desk(page, transactional_db, live_server, said):
    """The first page of the demo shop, on which the purchaser has signed in."""
    load_demo()
    for name, role in (("purchaser", PURCHASING), ("clerk", STOREROOM_CLERK)):
        User.objects.create_user(name, password=WORD).groups.set(Group.objects.filter(name=role.name))
    page.goto(live_server.url)
    sign_in(page, "purchaser")
    yield page
    assert [says for says in said if "409" not in says] == [], "409 is the lot that was refused"


def sign_in(page, name):
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(WORD)
    with page.expect_navigation():
        button(page, "Sign in").click()
    expect(page.get_by_role("heading", name="Today")).to_be_visible()


def become(page, name):
    """Somebody else sits down at the desk."""
    with page.expect_navigation():
        button(page, "Sign out").click()
    page.goto(re.match(r"https?://[^/]+", page.url).group())
    sign_in(page, name)


def button(page, name):
    return page.get_by_role("button", name=name).first


def press(page, name):
    """Press what books something, once its page has stood for a second, and wait for the answer."""
    page.wait_for_timeout(REST_MS)
    with page.expect_navigation():
        button(page, name).click()


def follow(page, name, **how):
    """Follow a link of the page, and wait for the next one."""
    with page.expect_navigation():
        page.get_by_role("link", name=name, **how).first.click()
    over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert over <= 0, f"{page.url} is wider than the window"


def door(page, name):
    with page.expect_navigation():
        page.get_by_role("navigation", name="Front doors").get_by_role("link", name=name, exact=True).click()


def downloaded(page, name):
    with page.expect_download() as loading:
        page.get_by_role("link", name=name).click()
    return openpyxl.load_workbook(io.BytesIO(loading.value.path().read_bytes()))


def load_back(page, label, book, button_name):
    out = io.BytesIO()
    book.save(out)
    said = {"name": "back.xlsx", "mimeType": "application/octet-stream", "buffer": out.getvalue()}
    page.get_by_label(label).set_input_files(said)
    with page.expect_navigation():
        button(page, button_name).click()


def fill_in(book, answers):
    """Write into the fields of a workbook as the other side would: in the row of a part, under a heading."""
    sheet = book.active
    top = next(cell.row for cell in sheet["A"] if cell.value == "Line and number")
    head = {cell.value: cell.column for cell in sheet[top]}
    for part, said in answers.items():
        row = next(cell.row for cell in sheet["A"][top:] if part in str(cell.value).split())
        for words, value in said.items():
            cell = sheet.cell(row, head[words])
            assert not cell.protection.locked, f"{words} is no field for the answer"
            cell.value = value
    return book


def move_day(day):
    with transaction.atomic():
        mark_shop()
        Setting.objects.filter(name="today").update(value=f"{day}")


def status(job):
    return next(asker for asker in reading_of(plan_now()).askers if asker.name == job).status


# --- the steps of the purchaser and the clerk


def ask_two(page):
    """One request to each of two suppliers, out of the list of shortages."""
    door(page, "Shortages")
    follow(page, "Ask suppliers")
    page.get_by_label(SEALS, exact=True).check()
    page.get_by_label(PUMPS, exact=True).check()
    page.get_by_label("Reply by").fill("2026-03-05")
    press(page, "Make the requests")
    books = {}
    for supplier in (SEALS, PUMPS):
        row = page.get_by_role("row", name=supplier)
        with page.expect_navigation():
            row.get_by_role("link", name=re.compile("ASK-")).click()
        books[supplier] = downloaded(page, "Download the workbook to send")
        press(page, "It was sent on this day")
        follow(page, "All requests")
    return books


def take_reply(page, filled):
    """Bring a reply back, and accept what it says."""
    door(page, "Purchasing")
    follow(page, re.compile("replies"))
    load_back(page, re.compile("The filled-in workbook"), filled, "Take the reply back")
    expect(page.get_by_text("still to be decided")).to_be_visible()
    press(page, "Accept the ticked lines")
    expect(page.get_by_text("Every line is decided.")).to_be_visible()


def draft_two(page):
    """Two lines from Norrvik and one from Lantry out of the cheapest set become two orders, and both are sent."""
    follow(page, "Compare quotes")
    expect(page.get_by_text("The cheapest set costs")).to_be_visible()
    numbers = {}
    for box in page.locator('input[name="line"]').all():
        name = box.locator("xpath=..").inner_text()
        box.set_checked(any(part in name for part in ("CS-34-U", "OR-011-F75X", "BR-112")))
    press(page, "Draft orders from the ticked lines")
    for order in PurchaseOrder.objects.select_related("supplier"):
        numbers[order.supplier.supplier] = order.number
    assert set(numbers) == {SEALS, PUMPS}
    for number in numbers.values():
        door(page, "Purchasing")
        follow(page, "Orders and drafts")
        follow(page, number, exact=True)
        press(page, "It was sent")
    return numbers


def to_order(page, number):
    door(page, "Purchasing")
    follow(page, "Orders and drafts")
    page.get_by_label("Which").select_option("all")
    with page.expect_navigation():
        button(page, "Show").click()
    follow(page, number, exact=True)


def confirm_by_workbook(page, number):
    """Norrvik sends the workbook of the order back: the seals as ordered, the oxygen ring after its need."""
    to_order(page, number)
    book = downloaded(page, "Workbook to send")
    follow(page, "What the supplier confirms")
    answers = {
        "OR-011-F75X": {"Packs confirmed": 2, "Price confirmed": 41, "Promised at our door": date(2026, 3, 25)},
        "CS-34-U": {"Packs confirmed": 1, "Price confirmed": 47, "Promised at our door": date(2026, 3, 10)},
    }
    load_back(page, re.compile("The filled-in workbook"), fill_in(book, answers), "Read it and compare")
    expect(page.get_by_text("2 of 2 lines are filled in")).to_be_visible()
    press(page, "Compare with the order")
    expect(page.get_by_text("5 days later")).to_be_visible()
    press(page, "Take the ticked lines")
    expect(page.get_by_text("Taken. 1 of the lines changed what was ordered.")).to_be_visible()


def chase(page, number):
    """On the tenth the backup rings are a day late and nobody confirmed them: asked after, they come on the 12th."""
    door(page, "Purchasing")
    follow(page, re.compile("ask about", re.I))
    row = page.get_by_role("row", name=number)
    expect(row).to_contain_text("BR-112")
    with page.expect_navigation():
        row.get_by_role("link", name=re.compile(number)).click()
    page.get_by_text("Write down a call").click()
    page.get_by_label("Who was asked").fill("Mr Onslow")
    page.get_by_label("What was said").fill("they leave tomorrow")
    page.get_by_label("Next call on, if any").fill("2026-03-13")
    press(page, "Keep the call")
    expect(page.get_by_role("cell", name="they leave tomorrow")).to_be_visible()
    page.get_by_label("New day at our door").fill("2026-03-12")
    page.get_by_label("Why the day moves, and who said so").fill("Mr Onslow, by telephone")
    press(page, "Change the promise")
    expect(page.get_by_role("cell", name="Mr Onslow, by telephone")).to_be_visible()


def to_receipt(page, part, number):
    door(page, "Storeroom")
    follow(page, "Receive", exact=True)
    follow(page, f"Receive {part} of {number}")


def receive(page, numbers):
    """The clerk: rings in one, cup seals in two lots, of which the second is too old and goes into quarantine."""
    to_receipt(page, "BR-112", numbers[PUMPS])
    page.get_by_label("How many").first.fill("6")
    press(page, "Receive it")
    to_receipt(page, "CS-34-U", numbers[SEALS])
    page.get_by_label("How many").first.fill("3")
    page.get_by_label(re.compile("Cure quarter or date")).first.fill("4Q25")
    press(page, "Receive it")
    to_receipt(page, "CS-34-U", numbers[SEALS])
    expect(page.get_by_text("2 still to come")).to_be_visible()
    page.get_by_label("How many").first.fill("2")
    page.get_by_label(re.compile("Cure quarter or date")).first.fill("1Q21")
    press(page, "Receive it")
    expect(page.get_by_text("send it back, receive it into quarantine, or say why it is accepted")).to_be_visible()
    page.get_by_label("Into quarantine until purchasing decides").first.check()
    press(page, "Receive it")


def send_back(page, number):
    """The old seals go out of quarantine and back, are to be replaced, and a credit is expected for them."""
    door(page, "Storeroom")
    follow(page, "Quarantine", exact=True)
    row = page.get_by_role("row", name=re.compile("CS-34-U"))
    expect(row).to_contain_text("Purchasing")
    with page.expect_navigation():
        row.get_by_role("link").nth(1).click()
    follow(page, "Send it back to the supplier")
    expect(page.get_by_text(f"It came on order {number}, line 1, from {SEALS}")).to_be_visible()
    page.get_by_label("What is wrong").select_option("too old")
    page.get_by_label("The same is to come again: the order waits for it").check()
    page.get_by_label("Credit expected, in the supplier's currency").fill("18.80")
    press(page, "It went back")
    expect(page.get_by_text(re.compile(r"Return \d+ went back to Norrvik Seals"))).to_be_visible()


def look_at_what_is_left(page, numbers):
    """Purchasing sees the credit, the order that waits for two seals more, and how Lantry kept its word."""
    door(page, "Purchasing")
    follow(page, "Back to suppliers")
    expect(page.get_by_text("1 credit expected.")).to_be_visible()
    expect(page.get_by_role("row", name=re.compile("CS-34-U"))).to_contain_text("18.80 EUR")
    to_order(page, numbers[SEALS])
    lines = page.get_by_role("region", name="Lines of the order")
    expect(lines).to_contain_text("part received")
    expect(lines).to_contain_text("J-3110")
    to_order(page, numbers[PUMPS])
    expect(page.get_by_text("Everything has come.")).to_be_visible()
    door(page, "Purchasing")
    follow(page, "Lines to ask about")
    follow(page, "How suppliers keep their word")
    kept = page.get_by_role("row", name=re.compile(PUMPS))
    expect(kept.get_by_role("cell", name="3.0", exact=True)).to_be_visible()


def walk(page):
    """All of it, page by page; whoever sits at the desk follows the links that are there."""
    assert status("J-3106") == "short"
    books = ask_two(page)
    take_reply(page, fill_in(books[SEALS], OF_SEALS))
    take_reply(page, fill_in(books[PUMPS], OF_PUMPS))
    numbers = draft_two(page)
    assert status("J-3106") == "waiting"
    confirm_by_workbook(page, numbers[SEALS])
    assert status("J-3110") == "late", "confirmed for two days after its need"
    move_day(date(2026, 3, 10))
    chase(page, numbers[PUMPS])
    move_day(date(2026, 3, 12))
    become(page, "clerk")
    receive(page, numbers)
    become(page, "purchaser")
    send_back(page, numbers[SEALS])
    look_at_what_is_left(page, numbers)
    see_job_ready(page)


def see_job_ready(page):
    door(page, "Schedule")
    follow(page, "J-3106", exact=True)
    expect(page.get_by_text("parts ready, pump not here")).to_be_visible()


def test_what_is_short_is_asked_for_compared_ordered_chased_and_taken_in_until_its_job_is_ready(desk):
    walk(desk)
    assert status("J-3106") == "ready"
    assert ledger_differences() == []
    assert SupplierCall.objects.get().order_line.item.part_number == "BR-112"
    back = SupplierReturn.objects.get()
    assert (back.quantity, back.wrong, back.lot_code != "") == (2 * ONE, "too old", True)
    waits = OrderLine.objects.get(order=back.order_line.order, item__part_number="CS-34-U")
    assert waits.quantity == 2 * ONE, "they are to come again"
