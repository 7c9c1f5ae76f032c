"""What one process keeps of the catalog is out of date as soon as another one has written to it, and not before."""

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.models import StructureLine
from kits.schedule.models import Job
from tests.kits.planning import second_process as here
from tests.kits.planning.second_process import second_process, write_line
from tests.kits.planning.shop import fill_shop

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def compiled(monkeypatch):
    """How often this process compiles the structure, counted from nothing."""
    from bom.reading import lists

    monkeypatch.setattr(lists, "compile_structure", lists.compile_structure)
    here.compiled[0] = 0
    here.count_compilations()
    return here.compiled


@pytest.fixture(scope="module")
def running(django_db_setup, django_db_blocker):
    """The other process, which begins anew with each test."""
    with django_db_blocker.unblock(), second_process() as running:
        yield running


@pytest.fixture
def other(running, transactional_db, compiled):
    fill_shop(1)
    yield running
    running.ask("begin_anew")


def positions():
    return here.answer_of_plan()["positions"]


def change_here(quantity):
    with transaction.atomic(durable=True):
        write_line(quantity)


def test_a_process_that_keeps_the_structure_sees_what_another_one_wrote(other):
    assert other.ask("plan") == {"positions": 4, "compiled": 1}
    assert other.ask("plan") == {"positions": 4, "compiled": 1}
    change_here(6)
    assert other.ask("plan") == {"positions": 6, "compiled": 2}
    assert other.ask("plan") == {"positions": 6, "compiled": 2}
    assert positions() == 6


def test_this_process_sees_what_the_other_one_wrote(other, compiled):
    assert (positions(), positions(), compiled) == (4, 4, [1])
    other.ask("change", 8)
    assert (positions(), positions(), compiled) == (8, 8, [2])
    other.ask("change", 4)
    assert (positions(), compiled) == (4, [3])


def test_another_days_work_leaves_the_structure_where_it_is(other):
    """A write to the schedule makes another plan from the same structure."""
    assert other.ask("plan") == {"positions": 4, "compiled": 1}
    with transaction.atomic(durable=True):
        mark_shop()
        Job.objects.update(quantity=2)
    assert other.ask("plan") == {"positions": 8, "compiled": 1}


def test_what_is_not_committed_yet_is_seen_by_nobody_else(other, compiled):
    assert positions() == 4
    other.ask("begin", 6)
    assert (positions(), compiled) == (4, [1])
    assert other.ask("plan")["positions"] == 6
    other.ask("commit")
    assert (positions(), compiled) == (6, [2])
    assert other.ask("plan")["positions"] == 6


def test_what_was_taken_back_leaves_nothing_in_what_either_process_keeps(other, compiled):
    assert (positions(), other.ask("plan")["positions"]) == (4, 4)
    other.ask("begin", 6)
    assert other.ask("plan")["positions"] == 6
    other.ask("roll_back")
    assert other.ask("plan")["positions"] == 4
    assert (positions(), compiled) == (4, [1])


def test_what_this_process_took_back_leaves_nothing_either(other, compiled):
    assert (positions(), other.ask("plan")["positions"]) == (4, 4)
    with transaction.atomic(durable=True):
        write_line(6)
        assert positions() == 6
        assert other.ask("plan")["positions"] == 4
        transaction.set_rollback(True)
    assert (positions(), other.ask("plan")) == (4, {"positions": 4, "compiled": 1})
    change_here(10)
    assert (positions(), other.ask("plan")["positions"]) == (10, 10)


def test_what_is_read_between_the_mark_and_the_write_is_not_kept_under_the_mark(other, compiled):
    """The mark stands for the whole transaction, and is committed with what is written after the question."""
    with transaction.atomic(durable=True):
        mark_catalog()
        assert positions() == 4
        StructureLine.objects.filter(parent__part_number="PUMP-0").update(quantity=6 * ONE)
        assert other.ask("plan")["positions"] == 4
    assert (positions(), other.ask("plan")["positions"]) == (6, 6)
