"""Two pumps of the demo from arrival to rebuild record, on the tablet and from the first page by links alone."""

import pytest
from django.contrib.auth.models import Group
from django.db.models import Sum
from django.utils import timezone
from playwright.sync_api import expect

from bom.values import ONE
from kits.demo.lead_tables import enter_lead_tables
from kits.people.models import User
from kits.people.roles import SERVICE_LEAD
from kits.picking.records.record import rebuild_record
from kits.planning.queries import plan_now, reading_of
from kits.schedule.models import Job, JobStep
from kits.service.models import PumpTest
from kits.service.testing.queries import limits_of
from kits.stock.models import Balance, Movement
from kits.stock.queries import ledger_differences
from tests.kits.web.shops import load_demo

WORD = "lead at the bench"
REST_MS = 1200
PUMPS = {
    "J-3104": ("H5-0012", "SKARN-114S", "mineral oil", "Pell Bottle Testing"),
    "J-3105": ("H4-0122", "SKARN-64T", "mineral oil", "North Basin Ferries"),
}


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args):
    return {**browser_context_args, "viewport": {"width": 834, "height": 1112}, "has_touch": True, "locale": "en-GB"}


@pytest.fixture
def tablet(page, transactional_db, live_server):
    """The first page, on which the lead has signed in."""
    load_demo()
    enter_lead_tables(timezone.now())
    lead = User.objects.create_user("lead", password=WORD)
    lead.groups.set(Group.objects.filter(name=SERVICE_LEAD.name))
    complaints = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(live_server.url)
    page.get_by_label("Name").fill("lead")
    page.get_by_label("Password").fill(WORD)
    page.get_by_role("button", name="Sign in").tap()
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    yield page
    assert complaints == []


def tap(page, control):
    """Tap what books something, once its page has stood for a second, and wait for the answer."""
    page.wait_for_timeout(REST_MS)
    with page.expect_navigation():
        control.tap()


def follow(page, link):
    """Follow a link of the page, and wait for the next one."""
    with page.expect_navigation():
        link.tap()


def button(page, name):
    return page.get_by_role("button", name=name).first


def door(page, name):
    follow(page, page.get_by_role("navigation", name="Front doors").get_by_role("link", name=name, exact=True))


def to_job(page, job):
    """From wherever one stands to the first page, and by its list to the job."""
    door(page, "Today")
    follow(page, page.get_by_role("link", name=job, exact=True).first)


def sheet(page, job, word):
    follow(page, page.get_by_role("navigation", name=f"Sheets of {job}").get_by_role("link", name=word, exact=True))
    over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert over <= 0, f"{word} of {job} is wider than the tablet"


def arrive(page, job):
    serial, model, fluid, customer = PUMPS[job]
    to_job(page, job)
    sheet(page, job, "Arrival")
    page.get_by_label("Serial, as it stands there").fill(serial)
    page.get_by_label("Model, as it stands there").fill(model)
    page.get_by_label("Fluid it pumped").fill(fluid)
    page.get_by_label("Flushed by").fill(customer)
    page.get_by_label("Flushed with").fill("clean mineral oil")
    page.get_by_text("the flushing note was seen here").tap()
    page.get_by_label("Who at the customer agreed").fill("the engine store")
    tap(page, button(page, "Write it down"))
    expect(page.get_by_text("The pump may be opened.")).to_be_visible()


def strip(page, job):
    """Every position of every section is good."""
    sheet(page, job, "Strip report")
    sections = page.get_by_role("navigation", name="Sections").get_by_role("link")
    for place in range(sections.count()):
        follow(page, sections.nth(place))
        rest = page.get_by_text("All the rest is good …")
        if rest.count():
            rest.tap()
            page.wait_for_timeout(REST_MS)
            page.get_by_role("button", name="Yes, store it so").click()
            expect(page.get_by_text("written.")).to_be_visible()
    expect(page.get_by_text("Every position has been looked at.")).to_be_visible()
    assert Job.objects.get(job=job).stage == "stripped"


def agree(page, job):
    sheet(page, job, "Quote")
    tap(page, button(page, "Store it as version 1"))
    page.get_by_label("Who gave the go-ahead").fill("the engine store, order 12")
    tap(page, button(page, "The customer agrees"))
    expect(page.get_by_text("The customer agreed: the engine store, order 12.")).to_be_visible()


def pick_both(page):
    """One round for both jobs, every line in full."""
    door(page, "Picking")
    for box in page.locator('input[name="job"]').all():
        box.set_checked(box.get_attribute("value") in PUMPS)
    tap(page, button(page, "Start"))
    while page.locator('button[name="full"]').count():
        tap(page, page.locator('button[name="full"]').first)


def build(page, job):
    to_job(page, job)
    expect(page.get_by_text("Yes: its bag is complete, and lasts to the build day.")).to_be_visible()
    page.get_by_label("The pump is", exact=True).select_option("building")
    tap(page, button(page, "Say where it is"))
    follow(page, page.get_by_role("link", name=f"Close the parts of {job}"))
    tap(page, button(page, f"Close the parts of {job}"))


def pass_test(page, job):
    to_job(page, job)
    follow(page, page.get_by_role("link", name="Write down its test").first)
    for limit in limits_of(Job.objects.get(job=job).pump):
        known = [value for value in (limit.at_least, limit.at_most) if value is not None]
        page.locator(f'input[aria-describedby="unit-{limit.check_of}"]').fill(f"{sum(known) / len(known):.4f}")
    page.get_by_label("Gauge", exact=True).select_option(label="PG-1, 0 to 1000 bar, calibrated to 30 Sep 2027")
    page.get_by_label("Tested with").fill("clean mineral oil")
    tap(page, button(page, f"{job} has passed its test"))


def of_ledger(job):
    """What the ledger says by itself went to a job and stayed there, by lot."""
    rows = Movement.objects.filter(balance__job=job, posting__kind="consume", posting__reversed_by__isnull=True)
    used = rows.order_by().values_list("balance__lot__lot").annotate(total=Sum("quantity"))
    return {lot: -total // ONE for lot, total in used}


def on_record(job):
    found = {}
    for part in rebuild_record(plan_now(), job).parts:
        if part.depth == 0:
            found[part.lot] = found.get(part.lot, 0) + part.quantity.millionths // ONE
    return found


def test_two_pumps_go_from_their_arrival_to_their_records_by_links_alone(tablet):
    asked_before = {asker.name for asker in reading_of(plan_now()).askers}
    assert set(PUMPS) <= asked_before
    for job in PUMPS:
        arrive(tablet, job)
        strip(tablet, job)
        agree(tablet, job)
    pick_both(tablet)
    for job in PUMPS:
        build(tablet, job)
        pass_test(tablet, job)
        sheet(tablet, job, "Record")
        expect(tablet.get_by_text("The pump was rebuilt and has passed its test.")).to_be_visible()
        expect(tablet.get_by_text("the engine store, order 12").first).to_be_visible()

    assert ledger_differences() == []
    plan = plan_now()
    assert {asker.name for asker in reading_of(plan).askers} == asked_before - set(PUMPS), "they ask for nothing more"
    for job in Job.objects.filter(job__in=PUMPS).select_related("pump"):
        assert job.stage == "tested"
        steps = list(JobStep.objects.filter(job=job).order_by("pk").values_list("after", flat=True))
        assert steps[-4:] == ["stripped", "building", "built", "tested"]
        used = of_ledger(job)
        assert used == on_record(job)
        assert used, "something went into it"
        assert not Balance.objects.filter(job=job, quantity__gt=0).exists(), "nothing is left in its bag"
        assert PumpTest.objects.get(job=job).passed
