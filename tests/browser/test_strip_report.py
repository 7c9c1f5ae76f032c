"""The service lead strips a pump of the demo shop on a tablet, by taps."""

import pytest
from django.contrib.auth.models import Group
from playwright.sync_api import expect

from kits.demo.actions import store_bench_figures
from kits.people.models import User
from kits.schedule.models import Job, Verdict
from tests.browser.looks import barriers_of
from tests.kits.web.shops import load_demo

LOST = "net::ERR_INTERNET_DISCONNECTED"


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args):
    return {**browser_context_args, "viewport": {"width": 834, "height": 1112}, "has_touch": True}


@pytest.fixture
def tablet(page, live_server):
    """A tablet on which the lead has opened the strip report of J-3102; it may complain of lost connections alone."""
    load_demo()
    store_bench_figures()
    lead = User.objects.create_user("lead", password="lead at the bench")
    lead.groups.add(Group.objects.get(name="Service lead"))
    complaints = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"{live_server.url}/sign-in/?next=/strip-report/J-3102/")
    page.get_by_label("Name").fill("lead")
    page.get_by_label("Password").fill("lead at the bench")
    page.get_by_role("button", name="Sign in").tap()
    expect(page.get_by_role("heading", name="Strip report of J-3102")).to_be_visible()
    yield page
    told = (LOST, "422 (", "htmx:sendError", "htmx:afterRequest")
    assert [says for says in complaints if not any(one in says for one in told)] == []


def position(page, name):
    return page.get_by_role("group", name=name)


def tap(page, name, verdict):
    position(page, name).get_by_text(verdict, exact=True).tap()


def store(page):
    page.locator("#store").tap()
    expect(page.get_by_text("written.")).to_be_visible()


def verdicts():
    rows = Verdict.objects.filter(job__job="J-3102").order_by("where").values_list("where", "verdict", "measured")
    return [(where.removeprefix("pump 1 / "), verdict, measured) for where, verdict, measured in rows]


@pytest.mark.django_db(transaction=True)
def test_a_pump_is_stripped_by_taps_with_one_undo_and_one_measured_value(tablet):
    tap(tablet, "each air head 1", "Renew")
    expect(tablet.locator("#store")).to_have_text("Store 1 position")
    store(tablet)
    expect(position(tablet, "each air head 2")).to_contain_text("Goes with each air head 1: renewed with it.")
    expect(tablet.get_by_role("region", name="The job before and after")).to_contain_text("BU-6")
    assert Job.objects.get(job="J-3102").stage == "stripped"

    tablet.get_by_role("button", name="Take it back").tap()
    expect(tablet.get_by_text("Taken back: 1 position as before.")).to_be_visible()
    assert verdicts() == []

    tablet.get_by_text("All the rest is good …").tap()
    tablet.get_by_role("button", name="Yes, store it so").tap()
    expect(tablet.get_by_text("8 verdicts written.")).to_be_visible()
    assert {verdict for _, verdict, _ in verdicts()} == {"keep"}

    tablet.get_by_role("link", name="pump 1 / E34 1").tap()
    plunger = position(tablet, "plunger PL-34")
    plunger.get_by_label("Measured: diameter at least 19.02 mm").fill("0.748 in")
    plunger.get_by_label("What was found").tap()
    expect(plunger).to_contain_text("Proposed: renew: 0.748 in is below 19.02 mm")
    tablet.locator("#store").tap()
    expect(tablet.get_by_text("What was measured proposes a verdict, and nothing was stored yet")).to_be_visible()
    expect(position(tablet, "plunger PL-34").get_by_label("Renew")).to_be_checked()
    store(tablet)
    assert ("E34 1 / plunger", "renew", "0.748 in") in verdicts()


@pytest.mark.django_db(transaction=True)
def test_what_was_tapped_outlives_a_lost_connection_a_reload_and_a_double_tap(tablet):
    tap(tablet, "barrel bore", "Good")
    tablet.context.set_offline(True)
    tablet.locator("#store").tap()
    expect(tablet.get_by_text("This could not be sent.")).to_be_visible()
    assert verdicts() == []
    tablet.context.set_offline(False)
    tablet.reload()
    expect(tablet.get_by_text("1 position as you tapped it, not stored yet")).to_be_visible()
    expect(position(tablet, "barrel bore").get_by_label("Good")).to_be_checked()
    tablet.locator("#store").dblclick()
    expect(tablet.get_by_text("1 verdict written.")).to_be_visible()
    assert verdicts() == [("D6 1 / barrel bore", "keep", "")]
    tablet.reload()
    expect(tablet.locator("#kept-taps")).to_be_hidden()


@pytest.mark.django_db(transaction=True)
def test_targets_take_a_gloved_finger_and_the_sheets_have_no_barriers(tablet):
    boxes = [one.bounding_box() for one in tablet.locator(".verdict, #store, .section-ways a").all()]
    assert min(min(box["width"], box["height"]) for box in boxes) >= 44
    assert tablet.evaluate("document.documentElement.scrollWidth") <= 834
    for address in ("/strip-report/J-3102/", "/tray/J-3101/", "/kits/K-E34N/"):
        tablet.goto(tablet.url.partition("/strip-report")[0].partition("/tray")[0] + address)
        assert barriers_of(tablet) == [], address
