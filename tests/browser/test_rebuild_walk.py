"""A stripped pump of the demo from its strip report to its rebuild record, on the tablet, through pages alone."""

import pytest
from django.contrib.auth.models import Group
from django.utils import timezone
from playwright.sync_api import expect

from kits.demo.lead_tables import enter_lead_tables
from kits.people.models import User
from kits.people.roles import SERVICE_LEAD
from kits.schedule.models import Job
from kits.service.models import GoAhead, PumpTest
from kits.stock.queries import ledger_differences
from tests.kits.web.shops import load_demo

WORD = "lead at the bench"
REST_MS = 1300


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args):
    return {**browser_context_args, "viewport": {"width": 834, "height": 1112}, "has_touch": True, "locale": "en-GB"}


@pytest.fixture
def lead(transactional_db):
    load_demo()
    enter_lead_tables(timezone.now())
    person = User.objects.create_user("lead", password=WORD)
    person.groups.set(Group.objects.filter(name=SERVICE_LEAD.name))
    return person


def tap(page, name, **said):
    """Tap a button once its page has stood for a second."""
    page.wait_for_timeout(REST_MS)
    page.get_by_role("button", name=name, **said).first.click()
    page.wait_for_load_state("load")


def go(page, word):
    """From any sheet of the job to another one, by the line of sheets on top."""
    page.get_by_role("navigation", name="Sheets of J-3101").get_by_role("link", name=word, exact=True).click()
    page.wait_for_load_state("load")


def fits_the_tablet(page):
    return page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def pick(page, site):
    """One round for the job: every line in full."""
    page.goto(f"{site}/picking/")
    page.locator('input[name="job"][value="J-3101"]').first.check()
    tap(page, "Start")
    while page.locator('button[name="full"]').count():
        page.wait_for_timeout(REST_MS)
        with page.expect_navigation():
            page.locator('button[name="full"]').first.click()


def test_a_stripped_pump_goes_from_its_quote_to_its_record_on_a_tablet(page, live_server, lead):
    site = live_server.url
    page.goto(f"{site}/sign-in/?next=/jobs/J-3101/")
    page.get_by_label("Name").fill("lead")
    page.get_by_label("Password").fill(WORD)
    page.get_by_role("button", name="Sign in").click()

    go(page, "Quote")
    assert fits_the_tablet(page)
    page.get_by_label("Note for the customer").fill("three balls, a spring, a plunger and its bearing are worn")
    tap(page, "Store it as version 1")
    page.get_by_label("Who gave the go-ahead").fill("Ms Reed, order 4711")
    tap(page, "The customer agrees")
    expect(page.get_by_text("The customer agreed: Ms Reed, order 4711.")).to_be_visible()

    pick(page, site)
    page.goto(f"{site}/jobs/J-3101/")
    expect(page.get_by_text("Yes: its bag is complete, and lasts to the build day.")).to_be_visible()
    page.get_by_label("The pump is", exact=True).select_option("building")
    tap(page, "Say where it is")
    page.goto(f"{site}/picking/jobs/J-3101/close/")
    tap(page, "Close the parts of J-3101")

    page.goto(f"{site}/jobs/J-3101/")
    go(page, "Test")
    assert fits_the_tablet(page)
    for what, typed in (
        ("Pressure at stall", "380"), ("Minutes held", "10"), ("Fall while held", "0,2 MPa"),
        ("Leak to the outside", "0"), ("Leak inside", "2"), ("Cycles", "34"),
    ):  # fmt: skip
        page.get_by_label(what, exact=True).fill(typed)
    past = "PG-2, 0 to 600 bar, calibrated to 2 Feb 2026, past its day: not to be used"
    page.get_by_label("Gauge", exact=True).select_option(label=past)
    page.get_by_label("Tested with").fill("clean water")
    tap(page, "J-3101 has passed its test")
    expect(page.get_by_text("Gauge PG-2 was calibrated to 2 Feb 2026 only")).to_be_visible()
    page.get_by_label("Gauge", exact=True).select_option(label="PG-1, 0 to 1000 bar, calibrated to 30 Sep 2027")
    tap(page, "J-3101 has passed its test")

    go(page, "Record")
    assert fits_the_tablet(page)
    expect(page.get_by_text("The pump was rebuilt and has passed its test.")).to_be_visible()
    for told in ("scored 40 mm from the nose", "good, but renewed with its group", "read as 0,2 MPa", "order 4711"):
        expect(page.get_by_text(told).first).to_be_visible()
    page.get_by_role("region", name="Parts").get_by_role("link").first.click()
    expect(page.get_by_role("heading", name="Pumps it went into")).to_be_visible()
    page.get_by_role("link", name="H4-0117").click()
    expect(page.get_by_role("heading", name="Serial H4-0117")).to_be_visible()
    assert Job.objects.get(job="J-3101").stage == "tested"
    assert (GoAhead.objects.count(), PumpTest.objects.get().readings.count()) == (1, 6)
    assert ledger_differences() == []
