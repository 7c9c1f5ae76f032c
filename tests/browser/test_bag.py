"""A bag on a tablet: scanned, put down, handed over, one more over the counter, brought back, and closed by words."""

import re

import pytest
from django.contrib.auth.models import Group
from django.db import transaction
from django.utils import timezone

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.people.models import User
from kits.picking.actions import confirm_line, start_round
from kits.picking.models import HandOver, PumpQuestion
from kits.schedule.models import Job
from kits.stock.ledger import Entry, OnShelf, WithJob, post
from kits.stock.models import Balance
from kits.stock.queries import ledger_differences
from tests.browser.looks import barriers_of
from tests.browser.scanner import hold_under
from tests.kits.web.shops import load_demo

expect = pytest.importorskip("playwright.sync_api").expect
WORD = "clerk at the counter"


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args):
    return {**browser_context_args, "viewport": {"width": 834, "height": 1112}, "has_touch": True}


@pytest.fixture
def clerk(db):
    load_demo()
    clerk = User.objects.create_user("clerk", password=WORD)
    clerk.groups.add(Group.objects.get(name="Storeroom clerk"))
    made = start_round(jobs=[Job.objects.get(job="J-3101")], by=clerk, at=timezone.now(), key="start")
    for line in made.lines.all():
        said = {share.bag.job_id: share.asked for share in line.shares.all()}
        confirm_line(line=line, quantities=said, by=clerk, at=timezone.now(), request_key=f"line {line.pk}")
    return clerk


@pytest.fixture
def tablet(page, live_server, clerk):
    """A tablet on which the clerk has signed in; it may not complain of anything."""
    complaints = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"{live_server.url}/sign-in/?next=/picking/")
    page.get_by_label("Name").fill("clerk")
    page.get_by_label("Password").fill(WORD)
    with page.expect_navigation():
        page.get_by_role("button", name="Sign in").tap()
    yield page
    assert complaints == []


def scan(page, text):
    """A scanner types 5 ms a key and ends with Enter, into no field."""
    with page.expect_navigation():
        hold_under(page, text)


def tap(page, name):
    page.wait_for_timeout(1100)
    with page.expect_navigation():
        page.get_by_role("button", name=name).first.tap()


def is_whole(page):
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), "it scrolls sideways"
    assert barriers_of(page) == []
    small = page.evaluate(
        """[...document.querySelectorAll('main button, main td a.button, main form input:not([type=hidden])')]
        .filter(node => node.type !== 'radio')
        .filter(node => node.getClientRects().length && node.getBoundingClientRect().height < 43.5)
        .map(node => node.outerHTML.slice(0, 90))"""
    )
    assert small == []


@pytest.mark.django_db(transaction=True)
def test_a_bag_from_its_scan_to_its_closing(tablet):
    scan(tablet, "BAG 1")
    expect(tablet.get_by_role("heading", name="Bag 1")).to_be_visible()
    expect(tablet.locator("main")).to_contain_text("still the storeroom's")
    is_whole(tablet)
    place = Balance.objects.filter(job__isnull=True, place__kind="bin").first().place
    scan(tablet, f"PLACE {place.place}")
    tap(tablet, f"Bag 1 stands at {place.place}")
    expect(tablet.locator("main")).to_contain_text(f"still the storeroom's, at {place.place}.")

    tablet.get_by_label("Taken by").fill("Ana")
    tablet.get_by_label("To which bench").fill("bench 2")
    tap(tablet, "Hand bag 1 over")
    expect(tablet.locator("main")).to_contain_text("Ana took it on")
    expect(tablet.locator("main")).to_contain_text("to bench 2.")
    assert {row.state for row in Balance.objects.filter(job__job="J-3101", quantity__gt=0)} == {"issued"}
    tablet.reload()
    assert HandOver.objects.count() == 1

    nut = Balance.objects.filter(job__job="J-3101", quantity__gte=2 * ONE, lot__item__kind="part").first().lot
    scan(tablet, f"LOT {nut.item.part_number} {nut.lot}")
    expect(tablet.get_by_role("heading", name="More for J-3101")).to_be_visible()
    is_whole(tablet)
    tap(tablet, "Lost at the bench")
    expect(tablet.get_by_role("heading", name="Bag 1")).to_be_visible()
    assert Balance.objects.get(job__job="J-3101", state="extra").quantity == ONE
    is_whole(tablet)

    row = tablet.get_by_role("row").filter(has_text="as an extra")
    with tablet.expect_navigation():
        row.get_by_role("link", name="Comes back").tap()
    tap(tablet, "Take it back")
    expect(tablet.get_by_role("heading", name="Bag 1")).to_be_visible()
    assert Balance.objects.get(job__job="J-3101", state="extra").quantity == 0
    assert ledger_differences() == []

    close_by_words(tablet, nut)


def close_by_words(page, lot):
    """One piece more than the pump takes lies at the bench: it is asked about, looked for, and goes back."""
    job = Job.objects.get(job="J-3101")
    with transaction.atomic():
        mark_shop()
        shelf = Balance.objects.filter(lot=lot, job__isnull=True, quantity__gt=0).first()
        account = OnShelf(lot.pk, shelf.place_id, shelf.condition, shelf.packet)
        entries = [Entry(account, -ONE), Entry(WithJob(lot.pk, job.pk, "issued"), ONE)]
        post(entries=entries, kind="pick", by=None, at=timezone.now(), key="one more", job=job)
    page.goto(page.url.split("/picking")[0] + "/picking/jobs/J-3101/close/")
    asked = page.get_by_role("group", name=re.compile(re.escape(lot.item.part_number)))
    expect(asked).to_contain_text("What became of the other 1?")
    expect(asked.get_by_label("Left over.")).to_be_checked()
    is_whole(page)
    asked.get_by_label("Perhaps forgotten").check()
    tap(page, "Close the parts of J-3101")
    expect(page.locator("main")).to_contain_text("J-3101 cannot be closed yet.")
    is_whole(page)
    tap(page, "The pump has all of its own")
    assert PumpQuestion.objects.get().answer == "not_needed"
    expect(page.get_by_label("Left over.")).to_be_checked()
    tap(page, "Close the parts of J-3101")
    expect(page.locator("main")).to_contain_text("Closed by clerk")
    expect(page.locator("main")).to_contain_text("back to its lot")
    assert (Job.objects.get(job="J-3101").stage, ledger_differences()) == ("built", [])
