"""Where a test lets plans be kept, none is older than the last statement that wrote anything."""

import pytest
from django.db import transaction

from kits.catalog.models import Item
from kits.planning.queries import plan_now
from kits.schedule.models import Job
from tests.keeping import keeping_plans
from tests.kits.web.shops import load_small

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def kept(db):
    load_small()
    with keeping_plans():
        yield


def priorities():
    return {job.priority for job in plan_now().shop.jobs}


def test_a_plan_is_kept_until_something_is_written_though_nobody_marked_it():
    before = plan_now()
    assert plan_now() is before
    Job.objects.update(priority=7)
    assert priorities() == {7}
    assert plan_now().shop.catalog is before.shop.catalog, "a job is no matter of the lists"
    Item.objects.filter(part_number="BA-1").update(how_sure_percent=50)
    item = next(item for item in plan_now().shop.catalog.items if item.part_number == "BA-1")
    assert item.how_sure_percent == 50


def test_what_is_taken_back_brings_the_plan_of_before():
    before, earlier = plan_now(), priorities()
    with transaction.atomic():
        assert plan_now() is before, "it was made before anything was written here"
        Job.objects.update(priority=7)
        assert priorities() == {7}
        transaction.set_rollback(True)
    assert plan_now() is before
    assert priorities() == earlier


def test_nothing_is_kept_of_what_is_read_inside_a_transaction_of_the_program():
    with transaction.atomic():
        assert plan_now() is not plan_now()
    assert plan_now() is plan_now()
