"""Jobs put on the schedule by form: what is asked, what they do to others, and how they are stored and taken back."""

from datetime import date

import pytest

from bom.structure.calendar import ShopCalendar
from kits.exchange.models import Upload
from kits.exchange.reading.entered_jobs import build_days, next_number, numbers_from
from kits.exchange.undo.actions import undo_upload
from kits.people.models import User
from kits.schedule.models import Job
from tests.kits.exchange.books import AT, load_sheets
from tests.kits.web.hands import key_in
from tests.kits.web.shops import sheet_of, text_of

pytestmark = pytest.mark.django_db

FIVE = {
    "pump": "P-1",
    "first": "J-20",
    "scope": "full",
    "option_0": "NBR",
    "serials": "S-1\n S-2 \n\nS-3\nS-4\nS-5\n",
    "a_day": "2",
    "build_on": "2026-04-02",
    "batch": "spring",
    "customer": "Harbour Works",
}


def store(client, entered):
    """Look at the jobs beside the plan, then tap the button that stands there."""
    seen = client.post("/new-jobs/", entered)
    return client.post("/new-jobs/", {**entered, "key": key_in(seen), "store": "1"}, follow=True)


@pytest.mark.parametrize(
    ("first", "numbers"),
    [
        ("J-8", ["J-8", "J-9", "J-10"]),
        ("R0099", ["R0099", "R0100", "R0101"]),
        ("harbour", ["harbour", "harbour-2", "harbour-3"]),
        ("2026/7", ["2026/7", "2026/8", "2026/9"]),
    ],
)
def test_numbers_are_counted_on_from_the_first(first, numbers):
    assert numbers_from(first, 3) == numbers


def test_next_number_follows_the_highest_of_those_numbered_as_the_newest(small_shop):
    assert next_number() == "J-10"
    load_sheets({"Schedule": [["job", "pump", "scope", "build_date"], ["R-007", "P-1", "full", date(2026, 3, 30)]]})
    assert next_number() == "R-008"


def test_builds_go_on_from_working_day_to_working_day():
    closed = ShopCalendar(holidays=(date(2026, 4, 3), date(2026, 4, 6)))
    assert build_days(date(2026, 4, 2), 5, 2, closed) == [
        date(2026, 4, 2), date(2026, 4, 2), date(2026, 4, 7), date(2026, 4, 7), date(2026, 4, 8),
    ]  # fmt: skip
    assert build_days(date(2026, 4, 2), 3, 0, closed) == [date(2026, 4, 2)] * 3


def test_page_asks_for_the_pump_and_then_what_its_lists_ask(small_shop, keeper):
    assert 'href="/new-jobs/?pump=P-1"' in keeper.get("/new-jobs/").content.decode()
    page = keeper.get("/new-jobs/?pump=p-1&batch=spring")
    asked = page.context["form"]
    assert [field.label for field in asked.options] == ["compound"]
    assert asked.options[0].field.choices == [("", "as listed: NBR"), ("NBR", "NBR")]
    assert asked.fields["scope"].choices == [("", "choose"), ("full", "full")]
    assert (asked["first"].value(), asked["batch"].value()) == ("J-10", "spring")


def test_unknown_pump_leads_back_to_the_choice(small_shop, keeper):
    answer = keeper.get("/new-jobs/?pump=P-99")
    assert answer.status_code == 404
    assert "No pump P-99 with a scope is known" in sheet_of(answer)


def test_five_jobs_are_tried_before_anything_is_stored(small_shop, keeper):
    seen = sheet_of(keeper.post("/new-jobs/", FIVE))
    assert "Nothing is stored yet" in seen
    assert "J-20 S-1 1 2 Apr 2026" in seen
    assert "J-24 S-5 1 6 Apr 2026" in seen
    assert "J-24 added" in seen
    assert not Job.objects.filter(job="J-20").exists()


def test_five_jobs_are_stored_at_once_and_taken_back_in_one_step(small_shop, keeper):
    done = store(keeper, FIVE)
    assert "5 jobs put on the schedule: J-20, J-21, J-22, J-23 and 1 more" in text_of(done)
    assert done.redirect_chain[-1][0] == "/batches/spring/"
    stored = Job.objects.filter(customer="Harbour Works").order_by("job")
    assert list(stored.values_list("job", "serial", "quantity", "build_on", "option")) == [
        ("J-20", "S-1", 1, date(2026, 4, 2), "compound=NBR"),
        ("J-21", "S-2", 1, date(2026, 4, 2), "compound=NBR"),
        ("J-22", "S-3", 1, date(2026, 4, 3), "compound=NBR"),
        ("J-23", "S-4", 1, date(2026, 4, 3), "compound=NBR"),
        ("J-24", "S-5", 1, date(2026, 4, 6), "compound=NBR"),
    ]
    undo_upload(upload=Upload.objects.latest("pk"), by=User.objects.get(username="keeper"), at=AT)
    assert not stored.exists()


def test_one_job_of_several_pumps_needs_no_serial_number(small_shop, keeper):
    store(keeper, {"pump": "P-1", "first": "J-20", "scope": "full", "quantity": "4", "build_on": "2026-04-02"})
    assert list(Job.objects.filter(job="J-20").values_list("quantity", "serial", "priority")) == [(4, "", 5)]


def test_rush_job_says_beforehand_whom_it_makes_late(demo_shop, keeper):
    rush = {"pump": "SKARN-64T", "first": "J-9001", "build_on": "2026-03-09", "priority": "1", "quantity": "4"}
    page = keeper.get("/new-jobs/?pump=SKARN-64T")
    rush["scope"] = page.context["form"].fields["scope"].choices[1][0]
    seen = keeper.post("/new-jobs/", rush)
    assert seen.context["sheet"].losers > 0
    assert f"{seen.context['sheet'].losers} lose" in sheet_of(seen)


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"first": "j-1"}, "j-1 is a job already: begin with another number"),
        ({"first": ""}, "The job has no number"),
        ({"scope": ""}, "Choose how deep the rebuild goes"),
        ({"build_on": "31.31.26"}, "“31.31.26” is no day"),
        ({"serials": "S-1\nS-1"}, "The serial number S-1 stands there twice"),
        ({"quantity": "3"}, "Each serial number is one pump and gets its own job"),
        ({"strip_on": "2026-04-09"}, "The pump is stripped before it is built"),
        ({"priority": "0"}, "A priority is 1, which goes first, to 9"),
        ({"a_day": "none"}, "Write how many are built a day"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field_and_nothing_typed_is_lost(small_shop, keeper, changed, says):
    answer = keeper.post("/new-jobs/", {**FIVE, **changed})
    assert answer.status_code == 422
    assert says in sheet_of(answer)
    assert answer.context["form"]["customer"].value() == "Harbour Works"


def test_odd_day_is_asked_about_on_the_preview_before_anything_is_stored(small_shop, keeper):
    asked = store(keeper, {**FIVE, "build_on": "2031-04-02"})
    assert "Is this meant?" in sheet_of(asked)
    assert not Job.objects.filter(job="J-20").exists()
    back = keeper.get(f"/new-jobs/?again={Upload.objects.latest('pk').pk}")
    assert back.context["form"]["serials"].value() == FIVE["serials"]


def test_second_tap_stores_no_second_jobs(small_shop, keeper):
    seen = keeper.post("/new-jobs/", FIVE)
    said = {**FIVE, "key": key_in(seen), "store": "1"}
    keeper.post("/new-jobs/", said)
    again = keeper.post("/new-jobs/", said)
    assert again.status_code == 302, "it was heard already, so nothing is asked again"
    assert Job.objects.filter(customer="Harbour Works").count() == 5


def test_what_was_changed_after_both_plans_were_seen_is_looked_at_before_it_is_stored(small_shop, keeper):
    seen = keeper.post("/new-jobs/", FIVE)
    other = {**FIVE, "build_on": "2026-04-20"}
    answer = keeper.post("/new-jobs/", {**other, "key": key_in(seen), "store": "1"})
    assert answer.status_code == 409
    assert "This has changed since the page was opened" in sheet_of(answer)
    assert "J-20 S-1 1 20 Apr 2026" in sheet_of(answer)
    assert not Job.objects.filter(job="J-20").exists()
    keeper.post("/new-jobs/", {**other, "key": key_in(answer), "store": "1"})
    assert Job.objects.get(job="J-20").build_on == date(2026, 4, 20)
