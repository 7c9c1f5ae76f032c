"""The jobs as a list to work on, and several of them changed at once."""

from datetime import date

import pytest

from kits.exchange.models import Upload
from kits.exchange.undo.actions import undo_upload
from kits.people.models import User
from kits.schedule.models import Job
from kits.schedule.words import Stage
from tests.kits.exchange.books import AT
from tests.kits.web.hands import key_in
from tests.kits.web.shops import sheet_of, text_of

pytestmark = pytest.mark.django_db
BOTH = ["J-1", "J-2"]
WHY = "the castings are late"


def look(client, **change):
    return client.post("/job-list/change/", {"job": BOTH, "look": "1", "why": WHY, **change})


def keep(client, **change):
    """Look at both plans, then tap the button that stands there."""
    seen = look(client, **change)
    said = {"job": BOTH, "look": "1", "store": "1", "why": WHY, **change, "key": key_in(seen, "/job-list/change/")}
    return client.post("/job-list/change/", said, follow=True)


def days():
    return dict(Job.objects.filter(job__in=BOTH).values_list("job", "build_on"))


def test_list_holds_what_is_still_to_be_planned_with_its_weekday(small_shop, reader):
    rows = reader.get("/job-list/").context["list"].rows
    assert [(row.job, row.weekday, row.serial, row.batch, row.stage) for row in rows] == [
        ("J-1", "Mon", "S-77", "spring", "expected"),
        ("J-2", "Tue", "", "spring", "expected"),
    ]
    assert [row.job for row in reader.get("/job-list/?past=1").context["list"].rows] == ["J-9", "J-1", "J-2"]


def test_list_is_narrowed_by_serial_number_sorted_and_taken_away_as_a_file(small_shop, reader):
    assert [row.job for row in reader.get("/job-list/?find=s-77").context["list"].rows] == ["J-1"]
    assert [row.job for row in reader.get("/job-list/?sort=-build").context["list"].rows] == ["J-2", "J-1"]
    file = reader.get("/job-list/?export=csv").content.decode("utf-8-sig")
    assert file.splitlines()[1].startswith("J-1,2026-03-16,Mon,P-1,full,1,S-77,,spring,5,expected,")


def test_who_may_not_plan_sees_no_boxes_to_tick(small_shop, clerk):
    assert 'name="job"' not in clerk.get("/job-list/").content.decode()


def test_what_a_move_does_is_shown_before_anything_is_stored(small_shop, keeper):
    before = days()
    seen = sheet_of(look(keeper, move_days="3"))
    assert "Nothing is stored yet" in seen
    assert "J-1 P-1, full 16 Mar → 19 Mar" in seen.replace(" 2026", "")
    assert days() == before


def test_jobs_are_moved_by_working_days_and_the_move_is_taken_back_in_one_step(small_shop, keeper):
    before = days()
    done = keep(keeper, move_days="5", batch="summer")
    assert "2 jobs changed: J-1 and J-2." in text_of(done)
    assert days() == {"J-1": date(2026, 3, 23), "J-2": date(2026, 3, 31)}
    assert set(Job.objects.filter(job__in=BOTH).values_list("batch__name", flat=True)) == {"summer"}
    undo_upload(upload=Upload.objects.latest("pk"), by=User.objects.get(username="keeper"), at=AT)
    assert days() == before


def test_jobs_are_moved_earlier_across_a_weekend(small_shop, keeper):
    keep(keeper, move_days="-1")
    assert days()["J-1"] == date(2026, 3, 13)


def test_held_jobs_keep_why_and_are_taken_up_again(small_shop, keeper):
    keep(keeper, stage="held", why="waits for the customer's word")
    held = Job.objects.filter(job__in=BOTH)
    assert set(held.values_list("stage", "held_because")) == {(Stage.HELD, "waits for the customer's word")}
    assert "waits for the customer's word" in sheet_of(keeper.get("/job-list/"))
    keep(keeper, stage="here")
    assert set(held.values_list("stage", "held_because")) == {(Stage.HERE, "")}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({}, "Nothing would change"),
        ({"move_days": "2", "move_to": "2026-03-20"}, "either by days or to one day"),
        ({"move_days": "2", "why": " "}, "Nothing says why"),
        ({"stage": "building"}, "A pump is opened and built on the page of its job"),
        ({"move_days": "soon"}, "Write by how many working days"),
        ({"priority": "12"}, "A priority is 1, which goes first, to 9"),
    ],
)
def test_what_cannot_be_is_said_and_the_ticks_stay(small_shop, keeper, change, says):
    answer = look(keeper, **change)
    assert answer.status_code == 422
    assert says in sheet_of(answer)
    assert answer.content.decode().count('name="job" value=') == 2


def test_nothing_ticked_leads_back_with_a_word(small_shop, keeper):
    answer = keeper.post("/job-list/change/", {}, follow=True)
    assert "No job is ticked" in text_of(answer)


def test_what_somebody_else_changed_meanwhile_is_looked_at_again(small_shop, keeper):
    seen = look(keeper, move_days="3")
    Job.objects.filter(job="J-1").update(build_on=date(2026, 3, 18))
    said = {
        "job": BOTH,
        "look": "1",
        "store": "1",
        "why": WHY,
        "move_days": "3",
        "key": key_in(seen, "/job-list/change/"),
    }
    answer = keeper.post("/job-list/change/", said)
    assert answer.status_code == 409
    assert "This has changed since the page was opened" in sheet_of(answer)
    assert days()["J-1"] == date(2026, 3, 18)


def test_second_tap_moves_nothing_twice(small_shop, keeper):
    seen = look(keeper, move_days="3")
    said = {
        "job": BOTH,
        "look": "1",
        "store": "1",
        "why": WHY,
        "move_days": "3",
        "key": key_in(seen, "/job-list/change/"),
    }
    keeper.post("/job-list/change/", said)
    keeper.post("/job-list/change/", said)
    assert days()["J-1"] == date(2026, 3, 19)


def test_a_day_far_off_is_asked_about_before_it_is_stored(small_shop, keeper):
    asked = keep(keeper, move_to="2031-03-03")
    assert "Is this meant?" in sheet_of(asked)
    assert days()["J-1"] == date(2026, 3, 16)


def test_what_was_changed_after_both_plans_were_seen_is_looked_at_before_it_is_stored(small_shop, keeper):
    before = days()
    seen = look(keeper, move_days="3")
    said = {
        "job": BOTH,
        "look": "1",
        "store": "1",
        "why": WHY,
        "move_days": "9",
        "key": key_in(seen, "/job-list/change/"),
    }
    answer = keeper.post("/job-list/change/", said)
    assert (answer.status_code, days()) == (409, before)
    assert "16 Mar 2026 → 27 Mar 2026" in sheet_of(answer)


def test_list_is_narrowed_by_customer_stage_and_weekday_and_the_file_with_it(small_shop, reader):
    Job.objects.filter(job="J-1").update(customer="Harbour Works", stage="here")
    for asked in ("customer=Harbour+Works", "stage=here", "weekday=Mon"):
        assert [row.job for row in reader.get(f"/job-list/?{asked}").context["list"].rows] == ["J-1"], asked
        file = reader.get(f"/job-list/?{asked}&export=csv").content.decode("utf-8-sig").splitlines()
        assert [row.partition(",")[0] for row in file[1:]] == ["J-1"], asked
    assert "No job is like that" in sheet_of(reader.get("/job-list/?stage=here&weekday=Tue"))


def test_stage_and_count_of_several_jobs_are_changed_and_why_stands_with_each_and_in_the_batch(small_shop, keeper):
    keep(keeper, quantity="2", stage="here")
    assert set(Job.objects.filter(job__in=BOTH).values_list("quantity", "stage")) == {(2, "here")}
    for page in ("/jobs/J-1/", "/jobs/J-2/", "/batch-sheets/changes/spring/"):
        told = sheet_of(keeper.get(page))
        assert "2 pumps, before 1" in told
        assert WHY in told


def test_scopes_to_choose_are_those_that_all_ticked_pumps_know(small_shop, keeper):
    form = keeper.post("/job-list/change/", {"job": BOTH}).context["form"]
    assert [value for value, _ in form.fields["scope"].choices] == ["", "full"]
