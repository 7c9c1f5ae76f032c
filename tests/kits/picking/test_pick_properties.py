"""Whatever is booked: nothing is lost, nothing is booked twice, and the plan asks for exactly the rest."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from bom.values import ONE
from kits.picking.actions import confirm_line, undo_line
from kits.picking.errors import PickRefusal
from kits.picking.models import Confirmation, PickRound
from kits.stock.models import Posting, Reservation
from kits.stock.queries import ledger_differences
from tests.kits.picking.bench_shop import AT, BenchShop, full, held, line_of

ASKED = (4, 4, 2, 2)


class PickProperties(TestCase):
    @settings(max_examples=12, suppress_health_check=[HealthCheck.too_slow])
    @given(
        taken=st.tuples(*(st.integers(0, asked) for asked in ASKED)), miscount=st.integers(-3, 3), undo=st.booleans()
    )
    def test_the_plan_asks_for_exactly_what_was_not_picked(self, taken, miscount, undo):
        shop = BenchShop()
        jobs = shop.four_jobs()
        line = line_of(shop.start(*jobs), "NUT")
        quantities = {job.pk: quantity * ONE for job, quantity in zip(jobs, taken, strict=True)}
        said = {"by": shop.clerk, "at": AT, "counted": (40 + miscount) * ONE, "reason": "counted"}
        confirm_line(line=line, quantities=quantities, request_key="tap", **said)
        confirm_line(line=line, quantities=quantities, request_key="tap", **said)
        if undo:
            undo_line(line=line, by=shop.clerk, at=AT, request_key="undo")
            taken, miscount = (0, 0, 0, 0), 0
        assert [shop.asked(job).get("NUT", 0) for job in jobs] == [a - t for a, t in zip(ASKED, taken, strict=True)]
        assert held("NUT", job__isnull=True) == 40 + miscount - sum(taken)
        assert [held("NUT", job=job) for job in jobs] == list(taken)
        assert Reservation.objects.filter(lot=line.lot).exists() is undo
        assert ledger_differences() == []


@pytest.fixture
def shop(transactional_db):
    return BenchShop()


def at_once(work, times):
    """Do the same work in several threads at the same time; how often it was refused."""

    def one(number):
        try:
            work(number)
        except PickRefusal:
            return 1
        else:
            return 0
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as people:
        return sum(people.map(one, range(times)))


def test_many_taps_at_once_book_a_line_once(shop):
    line = line_of(shop.start(shop.job("J-1")), "NUT")
    quantities = full(line)

    def tap(number):
        confirm_line(line=line, quantities=quantities, by=shop.clerk, at=AT, request_key="one tap")

    assert at_once(tap, 8) == 0
    assert (held("NUT", job__isnull=True), Posting.objects.filter(kind="pick").count()) == (36, 1)


def test_of_several_people_at_one_line_one_books_it(shop):
    line = line_of(shop.start(shop.job("J-1")), "NUT")
    quantities = full(line)

    def tap(number):
        confirm_line(line=line, quantities=quantities, by=shop.clerk, at=AT, request_key=f"tap {number}")

    assert at_once(tap, 6) == 5
    assert (held("NUT", job__isnull=True), Confirmation.objects.count()) == (36, 1)


def test_rounds_started_at_once_share_what_lies_there(shop):
    shop.stock("NUT", "H-1", "H1", 6)
    jobs = [shop.job("J-1"), shop.job("J-2")]

    def begin(number):
        shop.start(jobs[number % 2], key=f"round {number}")

    at_once(begin, 4)
    given_out = Reservation.objects.filter(lot__lot="H-1").values_list("quantity", flat=True)
    assert sum(given_out) == 6 * ONE
    assert PickRound.objects.count() == 2
    assert ledger_differences() == []
