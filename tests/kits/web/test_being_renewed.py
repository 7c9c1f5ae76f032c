"""A sheet on which nothing is decided shows the last plan, and says so, while the next one takes long."""

import re

import pytest
from django.contrib.auth.models import Group
from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.people.models import User
from kits.planning import queries
from kits.planning.keeping import plans as keeping
from kits.schedule.models import Batch, Job
from tests.kits.persons import person_of
from tests.kits.planning.shared_cache import count_plans, process_with, settle
from tests.kits.web.shops import load_small, sheet_of

pytestmark = pytest.mark.django_db(transaction=True)
TODAY = ["/", "/?for=clerk", "/?for=purchaser", "/?for=lead"]
READ = [*TODAY, "/schedule/", "/batches/spring/", "/shortages/", "/shortages/?batch=spring"]
DECIDED_ON = ["/jobs/J-2/", "/picking/", "/storeroom/ending/", "/storeroom/returns/", "/pumps/P-1/", "/parts/OR-014/"]


@pytest.fixture(autouse=True)
def plans_kept():
    """What is kept, and for how long, these tests say themselves."""


@pytest.fixture
def reader(client, transactional_db, monkeypatch):
    """A browser of a shop whose next plan takes half a second."""
    load_small()
    client.force_login(person_of("Administrator", "keeper"))
    monkeypatch.setattr(queries, "_plans", process_with(None))
    monkeypatch.setattr(keeping, "PATIENCE_SECONDS", 0.3)
    queries.plan_now()
    queries._plans._last.took = 9
    count_plans(monkeypatch, seconds=0.5)
    yield client
    settle()


def book(*jobs, **written):
    with transaction.atomic(durable=True):
        mark_shop()
        Job.objects.filter(job__in=jobs or ["J-2"]).update(**written)


def says_so(answer):
    assert answer.status_code == 200
    return re.search(r"As of \d\d:\d\d, being renewed", sheet_of(answer))


@pytest.mark.parametrize("address", READ)
def test_a_sheet_that_is_only_read_shows_the_last_plan_and_says_so(reader, address):
    before = sheet_of(reader.get(address))
    book("J-1", "J-2", quantity=40, stage="stripped")
    shown = reader.get(address)
    assert says_so(shown)
    without = re.sub(r"\s+", " ", re.sub(r"As of \d\d:\d\d, being.*?Wait for the latest", " ", sheet_of(shown)))
    assert without.strip() == re.sub(r"\s+", " ", before).strip()
    settle()
    after = reader.get(address)
    assert not says_so(after)
    assert sheet_of(after) != before


@pytest.mark.parametrize("address", DECIDED_ON)
def test_a_sheet_on_which_something_is_decided_waits_for_the_plan_of_now(reader, address):
    book(quantity=40)
    assert not says_so(reader.get(address))
    (job,) = (job for job in queries._plans._last.plan.shop.jobs if job.job == "J-2")
    assert job.quantity == 40


@pytest.mark.parametrize(
    "change", [{"stage": "cancelled"}, {"stage": "held", "held_because": "no air"}, {"batch": None}]
)
@pytest.mark.parametrize("address", READ)
def test_what_was_taken_off_the_schedule_since_breaks_no_sheet(reader, address, change):
    before = sheet_of(reader.get(address))
    book(**change)
    shown = reader.get(address)
    assert says_so(shown)
    assert "no air" not in sheet_of(shown) or "no air" in before


@pytest.mark.parametrize("address", READ)
def test_a_job_that_came_or_went_since_breaks_no_sheet(reader, address):
    with transaction.atomic(durable=True):
        mark_shop()
        old = Job.objects.get(job="J-2")
        Job.objects.create(job="J-90", pump=old.pump, scope=old.scope, build_on=old.build_on, batch=old.batch)
        old.delete()
    assert says_so(reader.get(address))


def test_a_batch_that_is_new_since_has_no_jobs_yet(reader):
    with transaction.atomic(durable=True):
        mark_shop()
        Batch.objects.create(name="autumn")
    assert says_so(reader.get("/batches/autumn/"))


def test_whoever_asks_for_the_latest_gets_it(reader):
    book(quantity=40)
    shown = reader.get("/shortages/?batch=spring")
    assert says_so(shown)
    link = re.search(r'href="(\?[^"]*latest=1)"', shown.content.decode())[1].replace("&amp;", "&")
    assert link == "?batch=spring&latest=1"
    assert not says_so(reader.get(f"/shortages/{link}"))


def test_whoever_wrote_a_moment_ago_sees_what_came_of_it(reader):
    person = User.objects.create_user("again", password="a long enough word")
    person.groups.add(Group.objects.get(name="Planner"))
    assert reader.post("/sign-in/", {"username": "again", "password": "a long enough word"}).status_code == 302
    book(quantity=40)
    assert not says_so(reader.get("/schedule/"))
    assert reader.cookies["wrote"]["max-age"] == 30
    assert reader.cookies["wrote"]["httponly"]
