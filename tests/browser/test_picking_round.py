"""A clerk with a tablet picks five jobs of the demo shop in one round."""

import re

import pytest
from django.contrib.auth.models import Group

from bom.values import ONE
from kits.people.models import User
from kits.picking.models import Confirmation, PickRound
from kits.stock.models import Balance
from kits.stock.queries import ledger_differences
from tests.browser.looks import barriers_of
from tests.browser.scanner import hold_under
from tests.kits.web.shops import load_demo

expect = pytest.importorskip("playwright.sync_api").expect
JOBS = ("J-3101", "J-3102", "J-3103", "J-3104", "J-3105")


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args):
    return {**browser_context_args, "viewport": {"width": 800, "height": 1180}, "has_touch": True}


@pytest.fixture
def tablet(page, live_server):
    """A tablet on which the clerk of the demo shop has signed in; it may not complain of anything."""
    load_demo()
    clerk = User.objects.create_user("clerk", password="clerk at the bench")
    clerk.groups.add(Group.objects.get(name="Storeroom clerk"))
    complaints = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"{live_server.url}/sign-in/?next=/picking/")
    page.get_by_label("Name").fill("clerk")
    page.get_by_label("Password").fill("clerk at the bench")
    follow(page.get_by_role("button", name="Sign in"))
    yield page
    # What was refused comes back as a conflict or as a form to put right, which the browser's console notes too, and
    # so does it when there was no connection.
    told = ("409 (Conflict)", "422 (", "ERR_INTERNET_DISCONNECTED")
    assert [says for says in complaints if not any(one in says for one in told)] == []


def follow(control):
    """Tap what leads to another page, and wait for that page."""
    with control.page.expect_navigation():
        control.tap()


def held(part, **where):
    return sum(Balance.objects.filter(lot__item__part_number=part, **where).values_list("quantity", flat=True)) / ONE


def line_text(page):
    return " ".join(page.locator(".stop").inner_text().split())


def refuse_barriers(page):
    assert barriers_of(page) == []


@pytest.mark.django_db(transaction=True)
def test_five_jobs_are_picked_in_one_round(tablet):
    refuse_barriers(tablet)
    for job in JOBS:
        tablet.get_by_role("checkbox", name=f"Pick {job}").check()
    follow(tablet.get_by_role("button", name="Start a round"))
    refuse_barriers(tablet)
    made = PickRound.objects.get()

    kits = {}
    while "K-" in tablet.locator(".stop h2").inner_text():
        kit = tablet.locator(".stop h2").inner_text()
        kits[kit] = [int(count) for count in tablet.locator(".bags li .count").all_inner_texts()]
        if kit == "K-E34N":
            assert "31 Mar 2026" in line_text(tablet)
            assert "Kit for NBR, not kit for EPDM: K-E34E lies in the same bin." in line_text(tablet)
        follow(tablet.get_by_role("button", name="Full"))
    assert kits == {
        "K-D6": [1, 1, 1],
        "K-D4": [1],
        "K-CV": [1, 1, 1, 1],
        "K-E34N": [2, 1, 1],
        "K-E12F": [2],
        "K-E38N": [1],
    }

    loose = {}
    while tablet.get_by_role("button", name="Full").count():
        part = tablet.locator(".stop h2").inner_text()
        if part == "OR-210-N70":
            assert "NV-2336" in line_text(tablet)
            assert "70 Shore A, not 90 Shore A: OR-210-N90 lies in the same bin." in line_text(tablet)
            undo_and_book_again(tablet)
        elif part == "WA-1":
            say_what_the_bin_held(tablet)
            continue
        elif part == "BA-716":
            book_short(tablet)
            continue
        loose[part] = sum(float(n) for n in re.findall(r"[\d.]+", tablet.locator(".bags li .count").first.inner_text()))
        follow(tablet.get_by_role("button", name="Full"))

    assert "22 lines are booked, 1 of them short" in tablet.locator("main").inner_text()
    assert {part: loose[part] for part in ("SG-M", "PL-34", "RB-34", "BU-6")} == {
        "SG-M": 1, "PL-34": 1, "RB-34": 1, "BU-6": 2,
    }  # fmt: skip
    made.refresh_from_db()
    assert made.state == "finished"
    assert held("WA-1", job__isnull=True) == 33, "the bin held 37, four were taken"
    assert held("BA-716", job__job="J-3101") == 2
    assert held("OR-210-N70", job__isnull=False) == 6
    assert ledger_differences() == []

    follow(tablet.get_by_role("link", name="what can be picked now"))
    assert jobs_to_pick(tablet)[:2] == ["J-3101", "J-3106"], "J-3101 asks for the ball it lacks, the others for nothing"


def undo_and_book_again(page):
    """Tap Full, take it back, and stand before the same line again."""
    follow(page.get_by_role("button", name="Full"))
    assert held("OR-210-N70", job__isnull=False) == 6
    follow(page.get_by_role("button", name="Undo", exact=True))
    assert "is taken back" in page.get_by_role("status").inner_text()
    assert page.locator(".stop h2").inner_text() == "OR-210-N70"
    assert held("OR-210-N70", job__isnull=False) == 0


def say_what_the_bin_held(page):
    """All four washers are there, but the bin holds 37 and not 40."""
    page.get_by_text("Short, miscounted or damaged").tap()
    page.get_by_role("textbox", name="Good pieces in it before any was taken").fill("37")
    refuse_barriers(page)
    follow(page.get_by_role("button", name="Book it as written"))


def book_short(page):
    """One of three balls is pitted: it leaves the bin, and the line asks what is wrong with it."""
    page.get_by_text("Short, miscounted or damaged").tap()
    page.get_by_role("button", name="One less: J-3101, of 3").tap()
    assert page.get_by_role("textbox", name="J-3101, of 3").input_value() == "2"
    page.get_by_role("button", name="Book it as written").tap()
    refused = page.locator(".otherwise .errorlist")
    expect(refused).to_contain_text("write how many lay there, or why not all were taken")
    page.get_by_role("textbox", name="How many, besides the good ones").fill("1")
    page.get_by_label("Another reason").fill("the others are still measured")
    page.get_by_role("button", name="Book it as written").tap()
    expect(page.locator("#wrong-wrong")).to_contain_text("Write what is wrong with them")
    page.get_by_label("What is wrong with them").select_option("pitted")
    follow(page.get_by_role("button", name="Book it as written"))


def jobs_to_pick(page):
    rows = page.locator(".picks tbody tr").filter(has=page.get_by_role("checkbox"))
    return rows.locator("th").all_inner_texts()


@pytest.mark.django_db(transaction=True)
def test_a_line_is_picked_by_scans_though_the_connection_drops_twice(tablet):
    tablet.get_by_role("checkbox", name="Pick J-3102").check()
    follow(tablet.get_by_role("button", name="Start a round"))
    line = PickRound.objects.get().lines.select_related("lot__item", "place").first()
    other = PickRound.objects.get().lines.exclude(place=line.place).select_related("lot__item").last().lot
    *bags, last = [share.bag.number for share in line.shares.select_related("bag")]

    hold_under(tablet, f"LOT {other.item.part_number} {other.lot}")
    expect(tablet.get_by_role("alert")).to_contain_text(f"This is {other.item.part_number}, lot {other.lot}")
    tablet.context.set_offline(True)
    hold_under(tablet, f"LOT {line.lot.item.part_number} {line.lot.lot}")
    expect(tablet.get_by_text("Not sent: there is no connection")).to_be_visible()
    tablet.context.set_offline(False)
    expect(tablet.get_by_text("is right: now scan")).to_be_visible()
    refuse_barriers(tablet)
    for bag in bags:
        hold_under(tablet, f"BAG {bag}")
        expect(tablet.get_by_text(f"Bag {bag} is right")).to_be_visible()
    tablet.context.set_offline(True)
    hold_under(tablet, f"BAG {last}")
    expect(tablet.get_by_text("Not sent: there is no connection")).to_be_visible()
    tablet.get_by_role("button", name="Send it now").tap()
    expect(tablet.get_by_text("Not sent: there is no connection")).to_be_visible()
    assert not Confirmation.objects.exists()
    tablet.context.set_offline(False)
    expect(tablet.locator(".answer")).to_contain_text(re.compile(r"\b1 of \d+ lines booked"))
    assert Confirmation.objects.get().line_id == line.pk
    assert ledger_differences() == []


@pytest.mark.django_db(transaction=True)
def test_a_round_is_picked_without_script(browser, tablet, live_server):
    for job in ("J-3102", "J-3104"):
        tablet.get_by_role("checkbox", name=f"Pick {job}").check()
    plain = browser.new_context(java_script_enabled=False, storage_state=tablet.context.storage_state())
    page = plain.new_page()
    page.goto(f"{live_server.url}/picking/")
    page.get_by_role("button", name="Start a round").click()
    page.get_by_role("button", name="Full").click()
    page.get_by_text("Short, miscounted or damaged").click()
    page.get_by_label("Good pieces in it").fill("2")
    page.get_by_role("button", name="Book it as written").click()
    assert "2 of " in page.locator(".answer").inner_text()
    plain.close()


@pytest.mark.django_db(transaction=True)
def test_the_list_on_paper_fits_both_papers(tablet, tmp_path):
    for job in JOBS:
        tablet.get_by_role("checkbox", name=f"Pick {job}").check()
    follow(tablet.get_by_role("button", name="Start a round"))
    follow(tablet.get_by_role("link", name="The list on paper"))
    refuse_barriers(tablet)
    for paper in ("A4", "Letter"):
        printed = tablet.pdf(path=tmp_path / f"{paper}.pdf", format=paper)
        assert printed.count(b"/Type /Page\n") == 2, "22 lines fit on two sheets"
