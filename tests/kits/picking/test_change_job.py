from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from kits.catalog.caching.revisions import read_marks
from kits.catalog.models import Item, ScopeSection
from kits.people.models import User
from kits.picking.changes.actions import change_job
from kits.schedule.change_list import changes_of
from kits.schedule.errors import ScheduleRefusal
from kits.schedule.models import Job, JobChange
from kits.schedule.writes import Planned

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
SEEN = Planned(date(2026, 3, 16), 5, "full", 1, "", "P")


@pytest.fixture
def job():
    pump = Item.objects.create(part_number="P", description="pump", kind="pump", stock_unit="each")
    for scope in ("full", "one end"):
        ScopeSection.objects.create(pump=pump, scope=scope, section=pump, how_many=1)
    return Job.objects.create(
        job="J-1", pump=pump, scope="full", build_on=SEEN.build_on, strip_on=date(2026, 3, 12), stage="here"
    )


@pytest.fixture
def change(job):
    planner = User.objects.create_user("planner")

    def do(seen=SEEN, key="k", why="the customer asked", **wanted):
        return change_job(job=job, seen=seen, wanted=replace(seen, **wanted), why=why, by=planner, at=AT, key=key)

    return do


def test_a_kept_change_is_in_the_schedule_with_who_when_and_why(job, change):
    before = read_marks()
    change(build_on=date(2026, 3, 20), priority=2, scope="one end", why=" the customer asked ")
    job.refresh_from_db()
    assert (job.build_on, job.priority, job.scope, job.stage) == (date(2026, 3, 20), 2, "one end", "here")
    (row,) = changes_of(job)
    assert (row.at, row.by, row.why) == (AT, "planner", "the customer asked")
    assert row.moved == (date(2026, 3, 16), date(2026, 3, 20))
    assert row.turns == (5, 2)
    assert row.scopes == ("full", "one end")
    assert read_marks() != before, "kept plans are out of date"


def test_what_stays_is_told_as_no_change(job, change):
    change(priority=1)
    (row,) = changes_of(job)
    assert (row.moved, row.turns, row.scopes, row.given_up) == (None, (5, 1), None, False)


def test_a_pump_is_not_stripped_after_it_is_built(job, change):
    change(build_on=date(2026, 3, 10))
    job.refresh_from_db()
    assert job.strip_on == date(2026, 3, 10)


def test_a_later_build_leaves_the_day_of_stripping_alone(job, change):
    change(build_on=date(2026, 3, 30))
    job.refresh_from_db()
    assert job.strip_on == date(2026, 3, 12)


def test_a_request_counts_once(job, change):
    first = change(priority=1)
    assert change(priority=1).pk == first.pk
    assert JobChange.objects.count() == 1


def test_a_job_that_somebody_changed_meanwhile_is_left_alone(job, change):
    change(priority=1)
    with pytest.raises(ScheduleRefusal, match=r"J-1 was changed meanwhile: .* 1, 1 of P, full\. Try the change again"):
        change(key="other", build_on=date(2026, 3, 20))
    job.refresh_from_db()
    assert job.build_on == SEEN.build_on


def test_a_job_that_asks_for_nothing_is_left_alone(job, change):
    Job.objects.update(stage="shipped")
    with pytest.raises(ScheduleRefusal, match="J-1 is shipped and asks for no parts"):
        change(priority=1)
    assert not JobChange.objects.exists()


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"priority": 1, "why": "  "}, "has no reason: say in a few words why"),
        ({}, "Nothing of J-1 would change"),
        ({"priority": 10}, "Priority 10 of J-1 is not known: give 1, which goes first, to 9"),
        ({"scope": "everything"}, "P has no scope “everything” for J-1; known for it: full, one end"),
    ],
)
def test_what_cannot_be_kept_is_refused_in_one_sentence(job, change, said, says):
    with pytest.raises(ScheduleRefusal, match=says):
        change(**said)
    job.refresh_from_db()
    assert (job.build_on, job.priority, job.scope) == (SEEN.build_on, 5, "full")
    assert not JobChange.objects.exists()
