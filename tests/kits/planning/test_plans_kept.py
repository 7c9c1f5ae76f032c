"""Where a test lets plans be kept, none is older than the last statement that wrote anything."""

from datetime import date

import pytest
from django.db import transaction
from django.test import Client

from bom.answers.rows import as_json
from kits.catalog.models import Holiday, Item
from kits.planning.queries import plan_now
from kits.schedule.models import Job
from tests.keeping import forget_plans, keeping_plans, taken_back
from tests.kits.persons import person_of
from tests.kits.web.shops import load_small

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def kept(request, db):
    if "empty" not in request.fixturenames:
        load_small()
    with keeping_plans():
        yield


@pytest.fixture
def empty():
    """Nothing is loaded before the test."""


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


def test_who_comes_and_signs_in_is_no_matter_of_the_plan():
    before = plan_now()
    with transaction.atomic():
        person_of("Planner")
        transaction.set_rollback(True)
    Client().force_login(person_of("Planner"))
    assert plan_now() is before


def test_a_shop_that_is_loaded_where_nothing_is_has_the_plan_that_was_made_of_it_from_nothing(empty):
    made = []
    for _ in range(2):
        with taken_back():
            load_small()
            made.append(plan_now())
    assert made[0] is made[1]
    load_small()
    forget_plans()
    assert plan_now() is not made[0]
    assert as_json(plan_now()) == as_json(made[0])


def test_a_shop_that_is_loaded_to_what_stands_there_is_planned_with_it(empty):
    load_small()
    assert plan_now().shop.holidays == ()
    Holiday.objects.create(date=date(2026, 3, 17))
    assert plan_now().shop.holidays == (date(2026, 3, 17),)


def test_a_shop_that_is_loaded_beside_something_else_is_planned_with_it(empty):
    with taken_back():
        load_small()
    Holiday.objects.create(date=date(2026, 3, 17))
    load_small()
    assert plan_now().shop.holidays == (date(2026, 3, 17),)
