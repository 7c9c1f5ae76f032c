from datetime import date

import pytest

from kits.catalog.models import Item
from kits.schedule.models import Batch, Job, OtherNeed, Verdict
from tests.kits.refusals import assert_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def pump():
    return Item.objects.create(part_number="P", description="pump", kind="pump", stock_unit="each")


def make_job(pump, **columns):
    return Job(**{"job": "J-1", "pump": pump, "scope": "full", "build_on": date(2026, 3, 9), **columns})


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ({"quantity": 0}, "A job rebuilds at least 1 pump."),
        ({"priority": 0}, "A priority is 1 to 9, 1 first."),
        ({"priority": 10}, "A priority is 1 to 9, 1 first."),
        (
            {"stage": "lost"},
            "Stage is one of: expected, here, stripped, building, built, tested, shipped, held, cancelled.",
        ),
        ({"cleanliness": "shiny"}, "Cleanliness is one of: normal, oxygen_clean, lubricant_free."),
    ],
)
def test_a_job_keeps_its_rules(pump, columns, says):
    assert_refused(make_job(pump, **columns), says)


@pytest.mark.parametrize(
    ("columns", "says"),
    [({"quantity": 0}, "The quantity of a need is above 0."), ({"priority": 0}, "A priority is 1 to 9, 1 first.")],
)
def test_another_need_keeps_its_rules(pump, columns, says):
    need = {"need": "van", "item": pump, "quantity": 1, "need_on": date(2026, 3, 9), **columns}
    assert_refused(OtherNeed(**need), says)


def test_a_verdict_is_one_of_five_words(pump):
    job = make_job(pump)
    job.save()
    assert_refused(
        Verdict(job=job, where="ball", item=pump, verdict="bad"),
        "Verdict is one of: renew, missing, keep, rework, not_as_listed.",
    )


def test_names_of_the_schedule_stand_once(pump):
    job = make_job(pump)
    job.save()
    assert_refused(make_job(pump, job=" j–1"), "A job of this number exists already.")
    Batch.objects.create(name="March")
    assert_refused(Batch(name="MARCH"), "A batch of this name exists already.")
    OtherNeed.objects.create(need="van", item=pump, quantity=1, need_on=date(2026, 3, 9))
    assert_refused(
        OtherNeed(need="Van", item=pump, quantity=1, need_on=date(2026, 3, 9)), "A need of this name exists already."
    )
    Verdict.objects.create(job=job, where="pump 1 / CK 1 / ball", item=pump, verdict="keep")
    assert_refused(
        Verdict(job=job, where="Pump 1 / CK 1 /  ball", item=pump, verdict="renew"),
        "This position of the job has a verdict already.",
    )


def test_jobs_that_ask_for_parts_are_told_by_their_stage(pump):
    for stage in ("expected", "here", "stripped", "building", "built", "tested", "shipped", "held", "cancelled"):
        make_job(pump, job=stage, stage=stage).save()
    asking = {"expected", "here", "stripped", "building"}
    assert set(Job.objects.asking().values_list("job", flat=True)) == asking
    assert {job.job for job in Job.objects.all() if job.asks} == asking
    assert Job.objects.by_number(" Expected").job == "expected"
