"""Whatever is left over: a pump is built with all it needs or says why not; opened again, everything is as it was."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from bom.values import ONE
from kits.catalog.errors import Refusal
from kits.picking.closing.actions import close_job, record_test, take_step_back
from kits.picking.closing.bag_decision import LeftOver
from kits.picking.errors import PickRefusal
from kits.picking.queries import lots_used
from kits.picking.words import LeftGoes
from kits.schedule.models import Job, JobStep
from kits.stock.models import Balance, Lot, Posting
from kits.stock.queries import ledger_differences
from tests.kits.picking.bench_shop import AT, BenchShop

NEEDED = {"K-1": 2, "H-1": 4, "N-70": 2}


def bagged(shop):
    job = shop.job("J-1", stage="building")
    shop.looked_at(job)
    shop.pick(job)
    return job


def books():
    rows = Balance.objects.filter(quantity__gt=0).order_by("pk")
    return {(row.lot.lot, row.place_id, row.condition, row.packet, row.job_id, row.state): row.quantity for row in rows}


class ClosingProperties(TestCase):
    @settings(max_examples=15, suppress_health_check=[HealthCheck.too_slow], deadline=None)
    @given(
        left=st.fixed_dictionaries({lot: st.integers(0, needed) for lot, needed in NEEDED.items()}),
        goes=st.sampled_from(LeftGoes),
    )
    def test_a_pump_is_built_with_all_it_needs_or_says_why_not_and_is_opened_again_as_it_was(self, left, goes):
        shop = BenchShop()
        job = bagged(shop)
        before = books()
        decisions = [LeftOver(Lot.objects.get(lot=lot).pk, n * ONE, goes, reason="bent") for lot, n in left.items()]
        said = {"job": job, "decisions": decisions, "by": shop.clerk, "at": AT}
        if any(left.values()):
            with pytest.raises(PickRefusal, match="its bag lacks"):
                close_job(key="close", **said)
            assert books() == before
        step = close_job(key="close", why="from the old stock of the bench", **said)
        assert bool(step.says) is bool(step.open_then) is any(left.values())
        used = {row.lot: row.quantity.millionths // ONE for row in lots_used([job])}
        assert used == {lot: needed - left[lot] for lot, needed in NEEDED.items() if needed > left[lot]}
        take_step_back(job=job, seen="built", why="it leaks", by=shop.clerk, at=AT, key="back")
        assert books() == before
        assert ledger_differences() == []


@pytest.fixture
def shop(transactional_db):
    return BenchShop()


def at_once(work, times=4):
    """Do the same work in several threads at the same time; how often it was refused."""

    def try_it(number):
        try:
            work(number)
        except Refusal:
            return 1
        finally:
            connection.close()
        return 0

    with ThreadPoolExecutor(4) as people:
        return sum(people.map(try_it, range(times)))


def test_of_several_people_who_close_a_job_one_does(shop):
    job = bagged(shop)
    nuts = LeftOver(Lot.objects.get(lot="H-1").pk, ONE, LeftGoes.BACK)

    def close(number):
        said = {"job": job, "decisions": [nuts], "why": "one is old", "by": shop.clerk, "at": AT}
        close_job(key=f"close {number}", **said)

    assert at_once(close) == 3
    assert Posting.objects.filter(kind="return_to_lot").count() == JobStep.objects.count() == 1


def test_of_one_who_tests_and_one_who_opens_a_job_again_one_does(shop):
    job = bagged(shop)
    close_job(job=job, decisions=[], by=shop.clerk, at=AT, key="close")

    def go(number):
        if number % 2:
            record_test(job=job, says="10 minutes", by=shop.clerk, at=AT, key=f"test {number}")
        else:
            take_step_back(job=job, seen="built", why="it leaks", by=shop.clerk, at=AT, key=f"back {number}")

    assert at_once(go) == 3
    assert Job.objects.get().stage == JobStep.objects.first().after
    assert ledger_differences() == []
