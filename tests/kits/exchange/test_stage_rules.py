"""What a list may say of how far a pump has come: of jobs of the past anything, of a known one no more than a word."""

import pytest
from django.urls import reverse

from kits.schedule.models import Job
from tests.kits.exchange.books import SHOP, check_sheets, load_sheets, only_problem, with_cell

pytestmark = pytest.mark.django_db
PAST = ("built", "tested", "shipped")


@pytest.fixture
def shop():
    assert load_sheets(SHOP).stored


def schedule(stage):
    return {"Schedule": with_cell("Schedule", 2, "stage", stage)["Schedule"]}


@pytest.mark.parametrize("stage", PAST)
def test_a_job_of_the_past_comes_in_at_any_stage_and_the_preview_says_so(stage):
    checked = check_sheets(with_cell("Schedule", 2, "stage", stage))
    assert checked.problems == ()
    assert [remark.says for remark in checked.remarks if "job of the past" in remark.says]
    assert load_sheets(with_cell("Schedule", 2, "stage", stage)).stored
    assert Job.objects.get(job="J-1").stage == stage
    again = check_sheets(with_cell("Schedule", 2, "stage", stage))
    assert not [remark for remark in again.remarks if "job of the past" in remark.says], "it is known by now"


@pytest.mark.parametrize("stage", PAST)
@pytest.mark.parametrize("before", ["expected", "building", "held"])
def test_a_list_makes_no_known_job_built_tested_or_shipped(shop, before, stage):
    Job.objects.update(stage=before)
    problem = only_problem(check_sheets(schedule(stage)))
    assert (problem.sheet, problem.row, problem.column, problem.value) == ("Schedule", 2, "stage", stage)
    assert problem.reason == f"the job is {before}, and nobody makes it {stage} by writing so"
    assert problem.remedy.startswith(f"leave it {before} here: closing its parts on the page of the job makes it built")


@pytest.mark.parametrize("before", PAST)
def test_a_list_takes_no_step_of_a_job_back(shop, before):
    Job.objects.update(stage=before)
    for stage in {"building", "held", "cancelled", *PAST} - {before}:
        problem = only_problem(check_sheets(schedule(stage)))
        assert problem.remedy == f"write {before} here, or take that step on the page of the job", stage
    assert check_sheets(schedule(before)).problems == ()


def test_a_list_without_the_stage_leaves_it(shop):
    Job.objects.update(stage="tested")
    rows = [["job", "pump", "scope", "build_date"], SHOP["Schedule"][1][:4]]
    assert SHOP["Schedule"][0][:4] == rows[0]
    assert load_sheets({"Schedule": rows}).problems == ()
    assert Job.objects.get(job="J-1").stage == "tested"


@pytest.mark.parametrize("stage", ["here", "stripped", "building", "held", "cancelled"])
def test_a_list_says_of_a_pump_to_be_built_where_it_is(shop, stage):
    assert load_sheets(schedule(stage)).stored
    assert Job.objects.get(job="J-1").stage == stage


@pytest.fixture
def back_office(shop, admin_client):
    def write(stage):
        job = Job.objects.get(job="J-1")
        page = admin_client.get(reverse("admin:schedule_job_change", args=[job.pk]))
        form = page.context["adminform"].form
        said = {name: form[name].value() for name in form.fields}
        said = {name: "" if value is None else value for name, value in said.items()} | {"stage": stage, "why": "told"}
        return admin_client.post(reverse("admin:schedule_job_change", args=[job.pk]), said)

    return write


def test_the_back_office_jumps_no_stage_either(back_office):
    answer = back_office("tested")
    assert answer.status_code == 200
    assert "The job is expected, and nobody makes it tested by writing so" in answer.content.decode()
    assert Job.objects.get(job="J-1").stage == "expected"
    assert back_office("stripped").status_code == 302
    assert Job.objects.get(job="J-1").stage == "stripped"
    Job.objects.update(stage="shipped")
    assert back_office("building").status_code == 200
    assert Job.objects.get(job="J-1").stage == "shipped"
