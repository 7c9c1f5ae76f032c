"""A writing that opened a pump takes its stage along when it is taken back, unless something followed."""

import pytest
from django.utils import timezone

from kits.catalog.models import Item
from kits.schedule.actions import move_stage, take_writing_back, write_strip_report
from kits.schedule.looks import Look, PositionLook
from kits.schedule.models import Job, JobStep
from kits.schedule.opening import LetPass
from kits.schedule.strip_writings import last_writing
from tests.kits.persons import person_of
from tests.kits.web.shops import load_small

pytestmark = pytest.mark.django_db
BALL = "pump 1 / E-1 1 / CK-1 1 / ball"


@pytest.fixture
def lead():
    load_small()
    return person_of("Service lead")


def may_open(job):
    return LetPass()


def write(lead, place, verdict="keep"):
    job = Job.objects.get(job="J-1")
    where = BALL.replace("CK-1 1", f"CK-1 {place}")
    looks = [Look(where, Item.objects.get(part_number="BA-1").part_number, PositionLook(), PositionLook(verdict))]
    write_strip_report(job=job, looks=looks, gate=may_open, by=lead, at=timezone.now(), key=f"write {place}~{place}")


def take_back(lead):
    job = Job.objects.get(job="J-1")
    key = f"back {JobStep.objects.count()}~x"
    take_writing_back(job=job, writing=last_writing(job).number, by=lead, at=timezone.now(), key=key)
    return Job.objects.get(job="J-1").stage


def test_the_stage_goes_back_with_the_writing_that_set_it(lead):
    write(lead, 1)
    assert Job.objects.get(job="J-1").stage == "stripped"
    assert take_back(lead) == "expected"
    assert list(JobStep.objects.order_by("pk").values_list("before", "after")) == [
        ("expected", "stripped"),
        ("stripped", "expected"),
    ]


def test_it_stays_where_more_was_written(lead):
    write(lead, 1)
    write(lead, 2)
    assert take_back(lead) == "stripped"


def test_it_stays_where_somebody_had_said_that_the_pump_was_stripped(lead):
    job = Job.objects.get(job="J-1")
    said = {"seen": "expected", "stage": "stripped", "gate": may_open}
    move_stage(job=job, by=lead, at=timezone.now(), key="strip", **said)
    write(lead, 1)
    assert take_back(lead) == "stripped"


def test_it_stays_where_the_pump_came_further_since(lead):
    write(lead, 1)
    job = Job.objects.get(job="J-1")
    for seen, stage in (("stripped", "here"), ("here", "stripped")):
        said = {"seen": seen, "stage": stage, "gate": may_open}
        move_stage(job=job, by=lead, at=timezone.now(), key=f"to {stage}", **said)
    assert take_back(lead) == "stripped"
