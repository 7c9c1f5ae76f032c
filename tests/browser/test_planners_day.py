"""The planner's desk without a spreadsheet: five jobs entered, a row changed in its place, a rush and its undo."""

import re
import time
from datetime import date

import pytest
from playwright.sync_api import expect

from kits.schedule.models import Job
from tests.browser.looks import PAST_THE_WINDOW, barriers_of

REST_MS = 1300
FIVE = "X-501\nX-502\nX-503\nX-504\nX-505"


@pytest.fixture
def desk(page, shop_address, sign_in, said):
    sign_in(page, shop_address)
    yield page
    assert [words for words in said if "409" not in words and "422" not in words] == []


def tap(control):
    """Tap what books something, once it may be tapped."""
    control.page.wait_for_timeout(REST_MS)
    control.click()


def is_sound(page):
    """Nothing for axe to find, and nothing beyond the window at any width."""
    assert barriers_of(page) == [], page.url
    for width in (1280, 834, 360):
        page.set_viewport_size({"width": width, "height": 900})
        assert not page.evaluate(PAST_THE_WINDOW), f"{page.url} at {width}"
    page.set_viewport_size({"width": 1280, "height": 900})


def built(*jobs):
    return list(Job.objects.filter(job__in=jobs).order_by("job").values_list("build_on", flat=True))


def test_a_new_batch_of_five_is_on_the_schedule_within_two_minutes_of_clicks(desk):
    """From the first page: five taps and six fields; two minutes by the clock are far more than the machine needs."""
    began = time.monotonic()
    desk.get_by_role("link", name="Schedule").first.click()
    desk.get_by_role("link", name="New jobs").click()
    desk.get_by_role("link", name="SKARN-64T").click()
    desk.get_by_label("Scope").select_option("full reseal")
    desk.get_by_label("Serial numbers, one a line").fill(FIVE)
    desk.get_by_label("Customer").fill("North Basin Ferries")
    desk.get_by_label("Build it on").fill("2026-05-11")
    desk.get_by_label("Builds a day").fill("2")
    desk.get_by_label("Batch").fill("May ferries")
    desk.get_by_role("button", name="Set both plans side by side").click()
    expect(desk.get_by_text("Nothing is stored yet.")).to_be_visible()
    tap(desk.get_by_role("button", name="Put the jobs on the schedule"))
    expect(desk.get_by_text("5 jobs put on the schedule")).to_be_visible()
    assert time.monotonic() - began < 120
    rows = Job.objects.filter(batch__name="May ferries").order_by("serial").values_list("serial", "build_on")
    days = [date(2026, 5, 11)] * 2 + [date(2026, 5, 12)] * 2 + [date(2026, 5, 13)]
    assert list(rows) == list(zip(FIVE.split(), days, strict=True))


def test_a_row_is_changed_in_its_place_and_left_as_it_is(desk, shop_address):
    desk.goto(f"{shop_address}/job-list/?find=J-3102")
    desk.get_by_role("link", name="Change J-3102", exact=True).click()
    row = desk.locator("tr.edited")
    expect(row.get_by_label("Build it on")).to_have_value("2026-03-10")
    is_sound(desk)
    row.get_by_role("link", name="Leave it as it is").click()
    expect(desk.get_by_role("link", name="Change J-3102", exact=True)).to_be_visible()
    desk.get_by_role("link", name="Change J-3102", exact=True).click()
    row.get_by_label("Build it on").fill("2026-03-13")
    tap(row.get_by_role("button", name="Keep it"))
    expect(row.get_by_label("Why")).to_be_focused()
    row.get_by_label("Why").fill("the yard asked for Friday")
    tap(row.get_by_role("button", name="Keep it"))
    expect(desk.get_by_text("J-3102 is changed. Nobody waits longer for it.")).to_be_visible()
    assert "find=J-3102" in desk.url, "the list is as it was"
    assert built("J-3102") == [date(2026, 3, 13)]


def test_a_rush_shows_who_pays_for_it_and_is_taken_back_in_one_step(desk, shop_address):
    """The shop's own story: with J-3122 built on 31 March, J-3119 is short."""
    before = built("J-3122", "J-3119")
    desk.goto(f"{shop_address}/job-list/?find=J-3122")
    desk.get_by_role("link", name="Change J-3122", exact=True).click()
    row = desk.locator("tr.edited")
    row.get_by_label("Build it on").fill("2026-03-31")
    row.get_by_label("Why").fill("the ferry sails on Thursday")
    tap(row.get_by_role("button", name="Keep it"))
    expect(row.get_by_text("1 loses by this change.")).to_be_visible()
    expect(row.get_by_role("row", name=re.compile("J-3119 loses"))).to_be_visible()
    is_sound(desk)
    assert built("J-3122", "J-3119") == before
    tap(row.get_by_role("button", name="Keep it all the same: 1 loses by it"))
    expect(desk.get_by_text("J-3122 is changed. J-3119 loses by it.")).to_be_visible()
    desk.get_by_role("link", name="Take it back in one step").click()
    desk.get_by_role("button", name=re.compile("Take upload")).click()
    expect(desk.get_by_text("This upload was taken back.")).to_be_visible()
    assert built("J-3122", "J-3119") == before


def test_schedule_and_its_sheets_are_sound(desk, shop_address):
    Job.objects.filter(job="J-3106").update(quantity=3)
    for path in (
        "schedule/",
        "build-days/",
        "job-list/",
        "split/J-3106/",
        "new-jobs/",
        "batch-sheets/changes/Spring refit/",
    ):
        desk.goto(f"{shop_address}/{path}")
        is_sound(desk)
