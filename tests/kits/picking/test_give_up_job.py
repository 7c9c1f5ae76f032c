from datetime import date

import pytest

from kits.picking.actions import confirm_line, give_up_round
from kits.picking.changes.actions import give_up_job
from kits.picking.changes.return_list import return_rows
from kits.picking.errors import PickRefusal
from kits.schedule.change_list import changes_of
from kits.schedule.errors import ScheduleRefusal
from kits.schedule.models import Job
from kits.schedule.writes import Planned
from kits.stock.models import Lot, Reservation
from tests.kits.picking.bench_shop import AT, BenchShop, full, line_of

pytestmark = pytest.mark.django_db
SEEN = Planned(date(2026, 3, 16), 5, "both", 1, "", "PUMP")


@pytest.fixture
def shop():
    return BenchShop()


@pytest.fixture
def give_up(shop):
    def give_up(job, seen=SEEN, why="the customer bought a new pump", key="up"):
        return give_up_job(job=job, seen=seen, why=why, by=shop.clerk, at=AT, key=key)

    return give_up


def test_what_was_set_aside_for_a_job_is_free_again(shop, give_up):
    job = shop.job("J-1")
    Reservation.objects.create(job=job, lot=Lot.objects.get(lot="H-1"), quantity=4_000_000)
    give_up(job)
    job.refresh_from_db()
    assert job.stage == "cancelled"
    assert not Reservation.objects.exists()
    (row,) = changes_of(job)
    assert (row.given_up, row.why, row.by) == (True, "the customer bought a new pump", "clerk")


def test_a_request_counts_once(shop, give_up):
    job = shop.job("J-1")
    assert give_up(job).pk == give_up(job).pk


def test_a_job_on_a_round_is_not_given_up(shop, give_up):
    job = shop.job("J-1")
    made = shop.start(job)
    with pytest.raises(PickRefusal, match=r"lines to pick on .*give the round up, before the job is given up"):
        give_up(job)
    give_up_round(pick_round=made, by=shop.clerk, at=AT)
    give_up(job)
    assert Job.objects.get(pk=job.pk).stage == "cancelled"


def test_what_lies_in_the_bag_of_a_job_that_is_given_up_stands_on_the_return_list(shop, give_up):
    job = shop.job("J-1")
    made = shop.start(job)
    nuts = line_of(made, "NUT")
    confirm_line(line=nuts, quantities=full(nuts), by=shop.clerk, at=AT, request_key="pick")
    give_up_round(pick_round=made, by=shop.clerk, at=AT)
    give_up(job)
    (row,) = return_rows(shop.plan())
    assert (row.job, row.part_number, row.lot, row.quantity.text, row.where) == ("J-1", "NUT", "H-1", "4", "in its bag")
    assert row.why == "given up by clerk: the customer bought a new pump"


def test_a_job_that_was_changed_meanwhile_is_not_given_up(shop, give_up):
    job = shop.job("J-1", priority=1)
    with pytest.raises(ScheduleRefusal, match="J-1 was changed meanwhile"):
        give_up(job)
    assert Job.objects.get(pk=job.pk).stage != "cancelled"


def test_giving_up_needs_a_reason(shop, give_up):
    job = shop.job("J-1")
    with pytest.raises(ScheduleRefusal, match="has no reason"):
        give_up(job, why="")
