"""A pump is built, tested and shipped by steps of their own, each with who and when, and each can be taken back."""

import pytest

from bom.values import ONE
from kits.picking.closing.actions import close_job, record_shipment, record_test, take_step_back
from kits.picking.closing.bag_decision import LeftOver
from kits.picking.errors import PickRefusal
from kits.picking.queries import lots_used
from kits.picking.words import LeftGoes
from kits.schedule.actions import move_stage
from kits.schedule.errors import ScheduleRefusal
from kits.schedule.models import Job, JobStep
from kits.schedule.opening import LetPass
from kits.stock.actions import scrap_stock
from kits.stock.ledger import OnShelf
from kits.stock.models import Lot, Posting, Reservation
from kits.stock.queries import ledger_differences
from tests.kits.kept_rows import kept_step
from tests.kits.picking.bench_shop import AT, BenchShop, held

pytestmark = pytest.mark.django_db

WHY = "one of them was taken from the old stock of the bench"


@pytest.fixture
def shop():
    return BenchShop()


@pytest.fixture
def built(shop):
    return close(shop)


@kept_step
def close(shop):
    """A job whose parts are closed: one nut came back, one was scrapped, the rest was used up."""
    job = shop.job("J-1", stage="building")
    shop.looked_at(job)
    shop.pick(job)
    nuts = Lot.objects.get(lot="H-1").pk
    left = [LeftOver(nuts, ONE, LeftGoes.BACK), LeftOver(nuts, ONE, LeftGoes.SCRAP, reason="dropped")]
    close_job(job=job, decisions=left, by=shop.clerk, at=AT, key="close", why=WHY)
    job.refresh_from_db()
    return job


def back(shop, job, key="back", why="it leaks at the gland"):
    job.refresh_from_db()
    return take_step_back(job=job, seen=job.stage, why=why, by=shop.clerk, at=AT, key=key)


def test_a_test_says_what_was_tested_by_whom_and_when(shop, built):
    step = record_test(job=built, says="1000 bar for 10 minutes, no drop", by=shop.clerk, at=AT, key="test")
    built.refresh_from_db()
    assert (built.stage, step.says, step.by, step.at) == (
        "tested", "1000 bar for 10 minutes, no drop", shop.clerk, AT
    )  # fmt: skip
    assert record_test(job=built, says="again", by=shop.clerk, at=AT, key="test") == step


def test_a_test_without_words_is_refused(shop, built):
    with pytest.raises(PickRefusal, match="The test of J-1 says nothing yet"):
        record_test(job=built, says=" ", by=shop.clerk, at=AT, key="test")


@pytest.mark.parametrize("stage", ["expected", "building", "held", "tested", "shipped", "cancelled"])
def test_only_a_built_pump_is_tested(shop, stage):
    job = shop.job("J-1", stage=stage)
    with pytest.raises(ScheduleRefusal, match=f"J-1 is {stage} by now: only a job that is built becomes tested"):
        record_test(job=job, says="10 minutes", by=shop.clerk, at=AT, key="test")


def test_only_a_tested_pump_is_shipped(shop, built):
    with pytest.raises(ScheduleRefusal, match="J-1 is built by now: only a job that is tested becomes shipped"):
        record_shipment(job=built, says="", by=shop.clerk, at=AT, key="ship")
    record_test(job=built, says="10 minutes", by=shop.clerk, at=AT, key="test")
    step = record_shipment(job=built, says="with the Thursday van", by=shop.clerk, at=AT, key="ship")
    assert (step.before, step.after) == ("tested", "shipped")
    assert [one.after for one in JobStep.objects.all()] == ["shipped", "tested", "built"]


def test_steps_are_taken_back_one_by_one_with_a_reason(shop, built):
    record_test(job=built, says="10 minutes", by=shop.clerk, at=AT, key="test")
    record_shipment(job=built, says="", by=shop.clerk, at=AT, key="ship")
    assert [back(shop, built, key=f"back {n}").after for n in range(3)] == ["tested", "built", "building"]
    with pytest.raises(PickRefusal, match="does not go back without a reason"):
        back(shop, built, key="more", why=" ")
    with pytest.raises(PickRefusal, match="neither built, tested nor shipped"):
        back(shop, built, key="more")


def test_a_step_that_somebody_else_took_back_meanwhile_is_refused(shop, built):
    back(shop, built)
    with pytest.raises(ScheduleRefusal, match="J-1 is building by now"):
        take_step_back(job=built, seen="built", why="mine", by=shop.clerk, at=AT, key="mine")


def test_a_job_that_is_opened_again_has_its_bag_as_it_was(shop, built):
    assert (held("NUT", job=built), held("NUT", job__isnull=True)) == (0, 37)
    step = back(shop, built)
    assert take_step_back(job=built, seen="built", why="again", by=shop.clerk, at=AT, key="back") == step
    built.refresh_from_db()
    assert built.stage == "building"
    assert (held("NUT", job=built), held("K-END", job=built), held("NUT", job__isnull=True)) == (4, 2, 36)
    assert lots_used([built]) == []
    assert ledger_differences() == []


def test_a_job_that_was_opened_again_is_closed_anew(shop, built):
    back(shop, built)
    step = close_job(job=built, decisions=[], by=shop.clerk, at=AT, key="close again")
    assert step.after == "built"
    assert {row.lot: row.quantity.text for row in lots_used([built])} == {"K-1": "2", "H-1": "4", "N-70": "2"}
    back(shop, built, key="back again")
    assert held("NUT", job=built) == 4
    assert ledger_differences() == []


def test_a_late_request_of_the_first_closing_closes_nothing_again(shop, built):
    back(shop, built)
    close_job(job=built, decisions=[], by=shop.clerk, at=AT, key="close")
    built.refresh_from_db()
    assert built.stage == "building"


def test_a_job_is_not_opened_again_once_what_came_back_is_gone(shop, built):
    where = OnShelf(Lot.objects.get(lot="H-1").pk, shop.places["H1"].pk, packet="resealed")
    scrap_stock(source=where, quantity=ONE, reason="bent", by=shop.clerk, at=AT, key="scrap")
    with pytest.raises(PickRefusal, match="1 of lot H-1 of NUT at H1 came back from it, and 0 of that lot are free"):
        back(shop, built)
    built.refresh_from_db()
    assert (built.stage, JobStep.objects.count()) == ("built", 1)
    assert not Posting.objects.filter(kind="reversal").exists()


def test_a_job_is_not_opened_again_while_what_came_back_is_set_aside_for_another(shop, built):
    other = shop.job("J-2")
    Reservation.objects.create(job=other, lot=Lot.objects.get(lot="H-1"), quantity=37 * ONE)
    with pytest.raises(PickRefusal, match="came back from it, and 0 of that lot are free there now"):
        back(shop, built)


def test_a_job_that_a_list_brought_in_as_built_is_opened_again(shop):
    job = shop.job("J-1", stage="built")
    assert back(shop, job).after == "building"


def unasked(job):
    return LetPass()


def test_a_pump_that_is_to_be_built_is_said_to_be_here_or_stripped(shop):
    job = shop.job("J-1")
    step = move_stage(job=job, seen="expected", stage="stripped", gate=unasked, by=shop.clerk, at=AT, key="move")
    assert (step.before, step.after) == ("expected", "stripped")
    with pytest.raises(ScheduleRefusal, match="J-1 is stripped by now: only a job that is expected becomes here"):
        move_stage(job=job, seen="expected", stage="here", gate=unasked, by=shop.clerk, at=AT, key="late")


@pytest.mark.parametrize(
    ("seen", "stage"), [("building", "built"), ("expected", "tested"), ("built", "building"), ("here", "here")]
)
def test_a_word_makes_no_pump_built_or_tested(shop, seen, stage):
    job = shop.job("J-1", stage=seen)
    with pytest.raises(ScheduleRefusal, match="by no step of its own"):
        move_stage(job=job, seen=seen, stage=stage, gate=unasked, by=shop.clerk, at=AT, key="move")
    assert Job.objects.get().stage == seen
