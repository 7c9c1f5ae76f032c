"""One row of the job list, opened as a form in its place: tried, kept, taken back."""

from datetime import date

import pytest
from django.contrib.auth.models import Group

from kits.exchange.models import Upload
from kits.exchange.undo.actions import undo_upload
from kits.people.models import User
from kits.schedule.models import Job, JobChange
from tests.kits.exchange.books import AT
from tests.kits.web.hands import key_in
from tests.kits.web.shops import sheet_of, text_of

pytestmark = pytest.mark.django_db
ROW = "/job-list/row/J-2/"
AS_IT_IS = {
    "build_on": "2026-03-24",
    "batch": "spring",
    "priority": "5",
    "stage": "expected",
    "scope": "full",
    "quantity": "1",
    "serial": "",
    "customer": "",
    "why": "the ferry needs it",
}
LATER = {**AS_IT_IS, "build_on": "2026-03-31"}
EARLIER = {**AS_IT_IS, "build_on": "2026-03-13"}


def keep(client, said, **options):
    """Open the row, fill it in, tap once."""
    key = key_in(client.get(ROW), ROW)
    return client.post(ROW, {**said, "key": key, "store": "1"}, **options)


def keep_anyway(client, seen, said, **options):
    """Tap again on a page that says who loses."""
    return client.post(ROW, {**said, "key": key_in(seen, ROW), "store": "anyway"}, **options)


def job():
    return Job.objects.get(job="J-2")


def test_row_opens_as_a_form_with_what_stands_and_leads_back_to_the_list_as_it_was(small_shop, reader):
    row = reader.get("/job-list/?find=J-2").content.decode()
    assert 'href="/job-list/row/J-2/?find=J-2"' in row
    opened = reader.get("/job-list/row/J-2/?find=J-2").content.decode()
    assert 'value="2026-03-24"' in opened
    assert f'href="/job-list/?find=J-2#job-{job().pk}"' in opened


def test_one_tap_is_enough_when_nobody_loses_and_says_so(small_shop, reader):
    done = keep(reader, LATER, follow=True)
    assert "J-2 is changed. Nobody waits longer for it." in text_of(done)
    assert job().build_on == date(2026, 3, 31)


def test_customer_serial_batch_priority_stage_and_count_are_kept_with_who_and_why(small_shop, reader):
    said = {**LATER, "customer": "Ferry Line", "serial": "S-9", "batch": "", "priority": "6", "stage": "here"}
    keep(reader, said)
    now = job()
    assert (now.customer, now.serial, now.batch, now.priority, now.stage) == ("Ferry Line", "S-9", None, 6, "here")
    told = sheet_of(reader.get("/jobs/J-2/"))
    assert "built 31 Mar 2026, before 24 Mar 2026" in told
    assert "priority 6, before 5" in told
    assert "no batch, before spring" in told
    assert "here, before expected" in told
    assert "serial S-9, before none" in told
    assert "for Ferry Line, before nobody" in told
    assert "the ferry needs it" in told


def test_second_tap_is_needed_where_somebody_loses_and_shows_who_loses_what(small_shop, reader):
    seen = keep(reader, EARLIER)
    assert job().build_on == date(2026, 3, 24), "the first tap stores nothing"
    sheet = sheet_of(seen)
    assert "1 loses by this change" in sheet
    assert "J-1 loses" in sheet
    done = keep_anyway(reader, seen, EARLIER, follow=True)
    assert "J-2 is changed. J-1 loses by it." in text_of(done)
    assert job().build_on == date(2026, 3, 13)


def test_second_tap_counts_only_for_what_was_shown(small_shop, reader):
    seen = keep(reader, EARLIER)
    answer = keep_anyway(reader, seen, {**EARLIER, "build_on": "2026-03-12"})
    assert answer.status_code == 409
    assert "This has changed since the page was opened" in sheet_of(answer)
    assert job().build_on == date(2026, 3, 24)


def test_second_tap_is_asked_for_even_where_the_first_claims_to_be_it(small_shop, reader):
    key = key_in(reader.get(ROW), ROW)
    answer = reader.post(ROW, {**EARLIER, "key": key, "store": "anyway"})
    assert (answer.status_code, job().build_on) == (409, date(2026, 3, 24))


def test_change_is_taken_back_in_one_step_and_that_is_told(small_shop, reader, planner):
    keep(reader, {**LATER, "customer": "Ferry Line"})
    undo_upload(upload=Upload.objects.latest("pk"), by=planner, at=AT)
    assert (job().build_on, job().customer) == (date(2026, 3, 24), "")
    told = [(row.why, row.build_on) for row in JobChange.objects.filter(job=job())]
    number = Upload.objects.latest("pk").pk
    assert told[0] == (f"upload {number} was taken back", date(2026, 3, 24))
    assert len(told) == 2


def test_what_somebody_else_changed_meanwhile_is_shown_before_anything_is_stored(small_shop, reader):
    key = key_in(reader.get(ROW), ROW)
    Job.objects.filter(job="J-2").update(priority=2)
    answer = reader.post(ROW, {**LATER, "key": key, "store": "1"})
    assert answer.status_code == 409
    assert job().build_on == date(2026, 3, 24)


def test_double_tap_stores_once_and_leads_to_the_list(small_shop, reader):
    key = key_in(reader.get(ROW), ROW)
    answers = [reader.post(ROW, {**LATER, "key": key, "store": "1"}) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [302, 302]
    assert JobChange.objects.count() == 1


def test_going_back_and_sending_something_else_with_the_same_page_stores_nothing(small_shop, reader):
    key = key_in(reader.get(ROW), ROW)
    reader.post(ROW, {**LATER, "key": key, "store": "1"})
    answer = reader.post(ROW, {**LATER, "build_on": "2026-04-02", "key": key, "store": "1"})
    assert answer.status_code == 409
    assert "This page was used already" in sheet_of(answer)
    assert job().build_on == date(2026, 3, 31)


@pytest.mark.parametrize(
    ("said", "says"),
    [
        (AS_IT_IS, "Nothing would change"),
        ({**LATER, "why": ""}, "Nothing says why"),
        ({**LATER, "build_on": "soon"}, "is no day"),
        ({**LATER, "priority": "0"}, "A priority is 1"),
        ({**LATER, "stage": "shipped"}, "shipped"),
        ({**LATER, "stage": "stripped"}, "A pump is opened and built on the page of its job"),
        ({**LATER, "quantity": "2", "serial": "S-4"}, "A serial number is that of one pump"),
    ],
)
def test_what_cannot_be_is_said_in_the_row_and_nothing_typed_is_lost(small_shop, reader, said, says):
    answer = keep(reader, said)
    assert answer.status_code == 422
    assert says in sheet_of(answer)
    assert f'value="{said["quantity"]}"' in answer.content.decode()
    assert job().build_on == date(2026, 3, 24)


def test_job_that_left_the_shop_is_not_opened(small_shop, reader):
    answer = reader.get("/job-list/row/J-9/")
    assert "J-9 is shipped, so nothing of it is planned" in sheet_of(answer)
    assert 'href="/job-list/row/J-9/' not in reader.get("/job-list/?past=1").content.decode()


def test_held_row_keeps_why_beside_it(small_shop, reader):
    keep(reader, {**AS_IT_IS, "stage": "held", "why": "no purchase order yet"})
    assert (job().stage, job().held_because) == ("held", "no purchase order yet")
    assert "no purchase order yet" in sheet_of(reader.get("/job-list/"))


@pytest.mark.parametrize(
    ("role", "may"),
    [("Planner", True), ("Service lead", True), ("Storeroom clerk", False), ("Purchasing", False)],
)
def test_who_may_open_a_row(small_shop, client, role, may):
    person = User.objects.create_user("somebody")
    person.groups.add(Group.objects.get(name=role))
    client.force_login(person)
    assert ("/job-list/row/J-2/" in client.get("/job-list/").content.decode()) is may
    assert client.get(ROW).status_code == (200 if may else 403)


def test_script_gets_the_page_that_the_row_is_taken_from_and_the_way_on(small_shop, reader):
    answer = keep(reader, LATER, headers={"HX-Request": "true"})
    assert answer.headers["HX-Redirect"] == "/job-list/", "a place in the page would not fetch it anew"
