"""Trying a change: the demo shop's own example, and what is kept, refused or left alone."""

import re

import pytest
from django.contrib.auth.models import Group
from django.db import connection
from django.test.utils import CaptureQueriesContext

from kits.people.models import User
from kits.schedule.models import Job, JobChange
from kits.web.request_keys import new_key
from tests.keeping import forget_plans
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
SMALL_TRIAL = "/try/?job=J-2&move_to=2026-03-13&priority=5"


def keep(client, **said):
    seen = {"seen_build_on": "2026-03-24", "seen_priority": "5", "seen_scope": "full", "seen_quantity": "1"}
    seen |= {"seen_option": "", "seen_pump": "P-1"}
    return client.post("/try/keep/", {"job": "J-2", "key": new_key("change", "J-2"), "why": "a favour", **seen, **said})


def test_demo_moves_a_job_forward_and_another_pays(demo_shop, reader):
    """Tour 2 of the story: an old cup seal serves it, its seats come in time, and the rush job loses two to it."""
    sheet = sheet_of(reader.get("/try/?job=J-3122&move_to=2026-03-31"))
    assert "J-3122 gains (short before, now waiting) and J-3119 loses (waiting before, now short)" in sheet
    assert "1 gains, 1 loses." in sheet
    assert (
        "J-3122 gains built 15 Apr 2026 short, in time if ordered by 19 Mar parts here on 26 Mar "
        "built 31 Mar 2026 waiting parts here on 30 Mar J-3119 loses"
    ) in sheet
    assert "Sure needs 840.50 before, 840.50 after EUR" in sheet
    assert "CS-34-U cup seal, plunger 3/4 in, polyurethane 5 short: order 5, 47.00" in sheet
    assert "4 short: order 5, 47.00 order by 23 Mar 2026 , for J-3124" in sheet


def test_demo_one_day_earlier_the_job_itself_is_late(demo_shop, reader):
    assert "J-3122" in (sheet := sheet_of(reader.get("/try/?job=J-3122&move_to=2026-03-30")))
    assert "built 30 Mar 2026 1 working day late" in sheet


def test_batch_schedule_and_job_lead_to_it(small_shop, reader):
    batch = " ".join(reader.get("/batches/spring/").content.decode().split())
    assert '<option value="J-1">J-1, 16 Mar: P-1, full</option>' in batch
    assert 'href="/try/"' in reader.get("/schedule/").content.decode()
    assert 'href="/try/?job=J-1"' in reader.get("/jobs/J-1/").content.decode()
    assert 'href="/try/?job=J-9"' not in reader.get("/jobs/J-9/").content.decode(), "it asks for nothing"


def test_a_trial_stores_nothing(small_shop, reader):
    sheet = sheet_of(reader.get(SMALL_TRIAL))
    assert "J-2 gains" in sheet
    assert "J-1 loses" in sheet
    assert Job.objects.get(job="J-2").build_on.isoformat() == "2026-03-24"
    assert not JobChange.objects.exists()


def test_a_trial_that_changes_nothing_says_so(small_shop, reader):
    assert "That is how it is planned already" in sheet_of(reader.get("/try/?job=j-2&move_to="))
    assert "Say what is to be tried." in sheet_of(reader.get("/try/?job=J-2"))
    assert "Which job?" in sheet_of(reader.get("/try/"))


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ("move_to=soon", "“soon” is no day: write it as 2026-03-04."),
        ("priority=12", "A priority is 1, which goes first, to 9."),
        ("scope=everything", "P-1 has no scope “everything”; known for it: full."),
    ],
)
def test_what_cannot_be_tried_is_refused_beside_its_field(small_shop, reader, asked, says):
    answer = reader.get(f"/try/?job=J-2&{asked}")
    assert answer.status_code == 422
    assert says in sheet_of(answer)


def test_a_job_that_is_not_planned_cannot_be_tried(small_shop, reader):
    answer = reader.get("/try/?job=J-9&move_to=2026-03-20")
    assert answer.status_code == 404
    assert "No job J-9 is planned: choose one that still asks for parts." in sheet_of(answer)


def test_giving_a_job_up_shows_who_gains(small_shop, reader):
    sheet = sheet_of(reader.get("/try/?job=J-1&drop=on"))
    assert "J-1 is left out" in sheet
    assert "J-1 given up waiting on a broken promise" in sheet


def test_a_change_is_kept_as_it_was_shown(small_shop, reader):
    page = reader.get(SMALL_TRIAL).content.decode()
    form = page[page.index('action="/try/keep/"') :]
    fields = dict(re.findall(r'<input[^>]*name="(\w+)"[^>]*value="([^"]*)"', form))
    answer = reader.post("/try/keep/", {**fields, "why": "the ferry needs it"})
    assert answer.status_code == 302
    sheet = sheet_of(reader.get(answer.url))
    assert "J-2 is kept as tried: built on 13 Mar. Every sheet counts with it now." in sheet
    assert Job.objects.get(job="J-2").build_on.isoformat() == "2026-03-13"
    told = sheet_of(reader.get("/jobs/J-2/"))
    assert "planner built 13 Mar 2026, before 24 Mar 2026 the ferry needs it" in told


def test_a_double_tap_keeps_once(small_shop, reader):
    key = new_key("change", "J-2")
    answers = [keep(reader, move_to="2026-03-13", key=key) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [302, 302]
    assert JobChange.objects.count() == 1


def test_a_change_without_a_reason_is_not_kept_and_nothing_typed_is_lost(small_shop, reader):
    answer = keep(reader, move_to="2026-03-13", why="")
    assert answer.status_code == 422
    assert "The change has no reason yet: say in a few words why it is made." in sheet_of(answer)
    assert 'value="2026-03-13"' in answer.content.decode()
    assert not JobChange.objects.exists()


def test_a_job_that_somebody_moved_meanwhile_is_not_moved_again(small_shop, reader):
    Job.objects.filter(job="J-2").update(priority=1)
    answer = keep(reader, move_to="2026-03-13", why="because")
    assert answer.status_code == 409
    assert "J-2 was changed meanwhile" in sheet_of(answer)
    assert 'value="because"' in answer.content.decode()


def test_another_count_option_or_pump_is_tried_and_kept(small_shop, reader):
    assert "4 short: order 4 for J-2" in sheet_of(reader.get("/try/?job=J-2&quantity=2"))
    sheet = sheet_of(reader.get("/try/?job=J-2&option=compound=XXX"))
    assert "compound=xxx is not known at 'gland' of E-1; known there: nbr" in sheet
    assert keep(reader, option="compound=XXX").status_code == 409, "a plan would not come of it"
    assert "No pump “P-9” is known with a scope" in sheet_of(reader.get("/try/?job=J-2&pump=P-9"))
    assert keep(reader, quantity="2", option="compound=NBR").status_code == 302
    job = Job.objects.get(job="J-2")
    assert (job.quantity, job.option) == (2, "compound=NBR")
    told = sheet_of(reader.get("/jobs/J-2/"))
    assert "2 pumps, before 1 compound=NBR, before as listed a favour" in told
    seen = {"seen_quantity": "2", "seen_option": "compound=NBR"}
    assert keep(reader, as_listed="on", **seen).status_code == 302
    assert Job.objects.get(job="J-2").option == ""


def test_a_job_is_given_up(small_shop, reader):
    assert keep(reader, drop="on").status_code == 302
    assert Job.objects.get(job="J-2").stage == "cancelled"
    told = sheet_of(reader.get("/jobs/J-2/"))
    assert "given up a favour" in told


@pytest.mark.parametrize(
    ("role", "may"),
    [("Planner", True), ("Service lead", True), ("Storeroom clerk", False), ("Purchasing", False)],
)
def test_who_may_keep_a_change(small_shop, client, role, may):
    person = User.objects.create_user("somebody")
    person.groups.add(Group.objects.get(name=role))
    client.force_login(person)
    assert ("Keep this change" in sheet_of(client.get(SMALL_TRIAL))) is may
    assert keep(client, move_to="2026-03-13").status_code == (302 if may else 403)


def test_three_jobs_and_thirty_take_the_same_number_of_statements(small_shop, reader):
    def count(address):
        forget_plans()
        with CaptureQueriesContext(connection) as asked:
            assert reader.get(address).status_code == 200
        return len(asked)

    addresses = ("/try/", "/try/?job=J-2", SMALL_TRIAL, "/try/?job=J-1&drop=on")
    few = [count(address) for address in addresses]
    first = Job.objects.get(job="J-1")
    Job.objects.bulk_create(
        Job(job=f"L-{n:02}", pump=first.pump, scope="full", build_on="2026-05-04", batch=first.batch) for n in range(30)
    )
    assert [count(address) for address in addresses] == few


def test_demo_moves_a_job_back_and_leaves_its_ring_to_another(demo_shop, reader):
    sheet = sheet_of(reader.get("/try/?job=J-3106&move_to=2026-04-01"))
    assert "J-3112 gains (short before, now waiting)" in sheet
    assert "J-3106 loses (now depends on an overdue order)" in sheet


SUNDAY = "The shop is closed on Sunday 15 Mar 2026; the working day before it is Friday 13 Mar 2026"


def test_odd_build_day_can_be_tried_and_is_asked_about_when_it_is_kept(small_shop, reader):
    sheet = sheet_of(reader.get("/try/?job=J-2&move_to=2026-03-15"))
    assert f"{SUNDAY}: choose another day, or keep it with the tick that it is meant." in sheet
    assert "J-2 gains" in sheet, "both plans are set side by side all the same"
    answer = keep(reader, move_to="2026-03-15")
    assert answer.status_code == 422
    assert "15 Mar 2026 is meant" in sheet_of(answer)
    assert 'value="a favour"' in answer.content.decode(), "the reason is not lost"
    assert keep(reader, move_to="2026-03-15", meant="2026-03-22").status_code == 422, "the tick was for another day"
    assert Job.objects.get(job="J-2").build_on.isoformat() == "2026-03-24"
    assert keep(reader, move_to="2026-03-15", meant="2026-03-15").status_code == 302
    assert Job.objects.get(job="J-2").build_on.isoformat() == "2026-03-15"


@pytest.mark.parametrize("day", ["2026-03-03", "2028-03-06"])
def test_build_day_in_the_past_or_years_ahead_is_asked_about(small_shop, reader, day):
    assert keep(reader, move_to=day).status_code == 422
    assert keep(reader, move_to=day, meant=day).status_code == 302


def test_odd_day_that_stands_already_is_not_asked_about(small_shop, reader):
    Job.objects.filter(job="J-2").update(build_on="2026-03-15")
    assert "is meant" not in sheet_of(reader.get("/try/?job=J-2&priority=1"))
    assert keep(reader, priority="1", seen_build_on="2026-03-15").status_code == 302
