"""The working calendar: closed days seen, closed and opened, with what that does to the plan."""

from datetime import date

import pytest

from kits.catalog.models import Holiday
from tests.kits.exchange.books import load_sheets
from tests.kits.web.hands import key_in
from tests.kits.web.shops import sheet_of, text_of

pytestmark = pytest.mark.django_db
CLOSE = {"first": "2026-03-05", "last": "2026-03-13", "name": "stock-take"}


def keep(client, address, said):
    """Look at both plans, then tap the button that stands there."""
    seen = client.post(address, said)
    return client.post(address, {**said, "store": "1", "key": store_key(seen, address)}, follow=True)


def store_key(seen, address):
    return key_in(seen, address, store="1")


def test_calendar_shows_the_coming_months_and_what_is_built(small_shop, reader):
    sheet = reader.get("/calendar/").context["calendar"]
    assert sheet.workdays == ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday")
    assert [month.name for month in sheet.months][::11] == ["March 2026", "February 2027"]
    days = {day.on: day for month in sheet.months for week in month.weeks for day in week if day}
    assert (days[date(2026, 3, 16)].pumps, days[date(2026, 3, 16)].closed) == (1, "")
    assert days[date(2026, 3, 14)].closed == "no working day"


def test_closing_days_is_tried_before_it_is_stored(small_shop, keeper):
    seen = sheet_of(keeper.post("/calendar/close/", CLOSE))
    assert "Nothing is stored yet" in seen
    assert not Holiday.objects.exists()


def test_closed_days_move_what_is_counted_in_working_days(small_shop, keeper):
    before = keeper.get("/jobs/J-1/")
    done = keep(keeper, "/calendar/close/", CLOSE)
    assert "The shop is closed on 9 more days" in text_of(done)
    assert Holiday.objects.count() == 9
    assert sheet_of(keeper.get("/jobs/J-1/")) != sheet_of(before)
    assert Holiday.history.first().history_change_reason == "closed: stock-take"


def test_days_are_opened_again_with_the_reason(small_shop, keeper):
    keep(keeper, "/calendar/close/", CLOSE)
    said = {"day": ["2026-03-05", "2026-03-06"], "why": "the customer waits"}
    assert "The shop works on 2 days more" in text_of(keep(keeper, "/calendar/open/", said))
    assert Holiday.objects.count() == 7
    assert Holiday.history.first().history_change_reason == "the customer waits"


def test_job_on_a_closed_day_is_pointed_out(small_shop, reader):
    load_sheets({"Holidays": [["date", "name"], [date(2026, 3, 16), "fair"]]})
    assert "J-1 : 16 Mar 2026 , fair" in sheet_of(reader.get("/calendar/"))


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"first": "2026-03-03", "name": "fair"}, "This day has passed"),
        ({"first": "2026-03-13", "last": "2026-03-12", "name": "fair"}, "The last day lies before the first"),
        ({"first": "2026-03-13", "last": "2027-03-12", "name": "fair"}, "more than 60 days"),
        ({"first": "2026-03-13"}, "Nothing says why the shop is closed"),
        ({"first": "13.3.", "name": "fair"}, "“13.3.” is no day"),
    ],
)
def test_days_that_cannot_be_closed_are_refused_beside_their_field(small_shop, keeper, said, says):
    answer = keeper.post("/calendar/close/", said)
    assert (answer.status_code, says in sheet_of(answer)) == (422, True)


def test_nothing_ticked_and_no_reason_are_said(small_shop, keeper):
    keep(keeper, "/calendar/close/", CLOSE)
    answer = sheet_of(keeper.post("/calendar/open/", {}))
    assert "No day is ticked" in answer
    assert "Nothing says why the shop works on these days" in answer


def test_what_somebody_else_closed_meanwhile_is_looked_at_again(small_shop, keeper):
    seen = keeper.post("/calendar/close/", CLOSE)
    load_sheets({"Holidays": [["date", "name"], [date(2026, 3, 20), "fair"]]})
    answer = keeper.post("/calendar/close/", {**CLOSE, "store": "1", "key": store_key(seen, "/calendar/close/")})
    assert answer.status_code == 409
    assert Holiday.objects.count() == 1


def test_second_tap_closes_nothing_twice(small_shop, keeper):
    seen = keeper.post("/calendar/close/", CLOSE)
    said = {**CLOSE, "store": "1", "key": store_key(seen, "/calendar/close/")}
    for _ in range(2):
        keeper.post("/calendar/close/", said)
    assert Holiday.objects.count() == 9
