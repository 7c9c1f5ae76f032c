"""Pumps that wait, by age: the borders of the groups by hand, and what each waits for."""

from datetime import UTC, date, datetime, timedelta

import pytest

from kits.planning.lists.waiting_list import group_of, waiting_list
from kits.planning.queries import plan_now
from kits.schedule.models import Job, JobStep
from kits.schedule.words import Stage
from tests.kits.persons import person_of
from tests.kits.web.shops import load_demo, load_small, sheet_of

AS_OF = date(2026, 3, 4)


@pytest.mark.parametrize(
    ("days", "group"),
    [(0, "to_20"), (20, "to_20"), (21, "to_30"), (30, "to_30"), (31, "to_60"), (60, "to_60"), (61, "over_60")],
)
def test_a_pump_that_is_here_for_so_many_days_stands_in_its_group(days, group):
    assert group_of(days) == group


@pytest.fixture
def small_shop(db):
    load_small()


def came(job, days, key, before=Stage.EXPECTED, after=Stage.HERE):
    at = datetime(2026, 3, 4, 9, tzinfo=UTC) - timedelta(days=days)
    JobStep.objects.create(job=job, key=key, before=before, after=after, at=at)


def waiting():
    return {row.job: row for row in waiting_list(plan_now()).rows}


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("days", "group"),
    [(20, "to_20"), (21, "to_30"), (30, "to_30"), (31, "to_60"), (60, "to_60"), (61, "over_60")],
)
def test_the_age_counts_from_the_day_on_which_the_job_came_to_be_here(small_shop, days, group):
    job = Job.objects.get(job="J-2")
    Job.objects.filter(pk=job.pk).update(stage="stripped")
    came(job, 90, "first time")
    came(job, 80, "back", before=Stage.HERE, after=Stage.EXPECTED)
    came(job, days, "again")
    came(job, 1, "opened", before=Stage.HERE, after=Stage.STRIPPED)
    row = waiting()["J-2"]
    assert (row.days, row.group, row.by_strip_day) == (days, group, False)


@pytest.mark.django_db
def test_a_pump_of_which_nobody_said_when_it_came_counts_from_its_strip_day_or_stands_by_itself(small_shop):
    Job.objects.filter(job="J-2").update(stage="here", strip_on=AS_OF - timedelta(days=40))
    row = waiting()["J-2"]
    assert (row.days, row.group, row.by_strip_day) == (40, "to_60", True)
    Job.objects.filter(job="J-2").update(strip_on=AS_OF + timedelta(days=1))
    row = waiting()["J-2"]
    assert (row.days, row.group, row.came_on) == (None, "no_day", None)
    Job.objects.filter(job="J-2").update(stage="expected", strip_on=AS_OF - timedelta(days=40))
    row = waiting()["J-2"]
    assert (row.days, row.group) == (None, "expected")


@pytest.mark.django_db
def test_each_job_names_the_one_thing_it_waits_for_and_the_promise_of_it(db):
    """By the story of the demo shop, in which everything is invented: J-3103 waits for a cage promised for 18 March,
    J-3113 for the overdue cycling valve kits, J-3118 for seats that nobody has ordered, J-3107 for kits to be packed.
    """
    load_demo()
    found = waiting_list(plan_now())
    rows = {row.job: row for row in found.rows}
    assert (rows["J-3103"].thing, rows["J-3103"].promise) == ("CG-S", "PO-7104, promised for 18 Mar")
    assert (rows["J-3113"].thing, rows["J-3113"].is_order) == ("PO-7102", True)
    assert rows["J-3113"].promise == "promised for 26 Feb, overdue"
    assert rows["J-3118"].promise.startswith("not ordered: here on ")
    assert rows["J-3107"].promise == "lies here, to be packed"
    assert "J-3101" not in rows
    assert sum(total.jobs for total in found.totals) == len(found.rows) == 19
    assert [total.jobs for total in found.totals] == [
        sum(row.group == total.group for row in found.rows) for total in found.totals
    ]


@pytest.mark.django_db
def test_the_page_shows_one_group_and_the_file_holds_it_all(small_shop, client):
    client.force_login(person_of("Planner"))
    Job.objects.filter(job="J-2").update(stage="here", strip_on=AS_OF - timedelta(days=40), customer="Ferry Line")
    sheet = sheet_of(client.get("/waiting/"))
    assert "1 job waits here for parts, the longest for 40 days; 1 job more is not here yet." in sheet
    assert "J-1" not in sheet_of(client.get("/waiting/?group=to_60"))
    rows = client.get("/waiting/?export=csv").content.decode("utf-8-sig").splitlines()
    assert rows[0].startswith("Days here,Job,Customer,Waits for,Promise,")
    assert rows[1].startswith("40,J-2,Ferry Line,")
    assert len(rows) == 3
