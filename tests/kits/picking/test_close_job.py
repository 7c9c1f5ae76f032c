from datetime import date

import pytest

from bom.values import ONE
from kits.picking.actions import close_job, confirm_line, undo_line
from kits.picking.closing import LeftOver
from kits.picking.errors import PickRefusal
from kits.picking.models import Closing
from kits.picking.queries import lots_used
from kits.picking.words import ClosedAs, LeftGoes
from kits.stock.models import Balance, Lot, Posting, Reservation
from kits.stock.queries import ledger_differences
from kits.stock.writes import JobCount, set_job_counts
from tests.kits.picking.bench_shop import AT, BenchShop, full, held, line_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return BenchShop()


@pytest.fixture
def job(shop):
    """A job with two kits, two rings and four nuts in its bag."""
    job = shop.job("J-1", serial="H4-0117", stage="building")
    made = shop.start(job)
    for line in made.lines.all():
        confirm_line(line=line, quantities=full(line), by=shop.clerk, at=AT, request_key=f"pick {line.number}")
    return job


@pytest.fixture
def close(shop):
    def close(job, *decisions, closed_as=ClosedAs.TESTED, key="close"):
        return close_job(job=job, decisions=decisions, closed_as=closed_as, by=shop.clerk, at=AT, key=key)

    return close


def left(code, quantity, goes, **said):
    return LeftOver(Lot.objects.get(lot=code).pk, quantity * ONE, LeftGoes(goes), **said)


def refused(close, *args, **said):
    with pytest.raises(PickRefusal) as refusal:
        close(*args, **said)
    return str(refusal.value)


def test_what_is_not_left_over_is_used_up_in_the_pump(shop, job, close):
    close(job)
    assert held("NUT", job=job) == held("K-END", job=job) == 0
    assert held("NUT", job__isnull=True) == 36
    job.refresh_from_db()
    assert job.stage == "tested"
    assert ledger_differences() == []


def test_the_lots_that_went_into_a_serial_can_be_listed(shop, job, close):
    close(job, left("H-1", 1, "scrap", reason="dropped"))
    assert [(row.serial, row.part_number, row.lot, row.quantity.text) for row in lots_used([job])] == [
        ("H4-0117", "K-END", "K-1", "2"),
        ("H4-0117", "NUT", "H-1", "3"),
        ("H4-0117", "OR-210-N70", "N-70", "2"),
    ]
    assert lots_used([job])[0].last_use_on == date(2026, 3, 31)


def test_pieces_go_back_to_the_place_they_came_from_in_a_closed_packet(shop, job, close):
    close(job, left("N-70", 1, "back"))
    balance = Balance.objects.get(lot__lot="N-70", job__isnull=True, packet="resealed")
    assert (balance.place.place, balance.condition, balance.quantity) == ("A1", "usable", 39 * ONE)
    assert Posting.objects.get(kind="return_to_lot").job == job
    assert ledger_differences() == []


def test_pieces_can_go_back_to_another_place(shop, job, close):
    close(job, left("H-1", 2, "back", place_id=shop.places["A2"].pk))
    assert held("NUT", place__place="A2") == 2


def test_pieces_that_may_not_be_resealed_go_into_quarantine(shop, job, close):
    shop.items["OR-210-N70"].resealed_usable = False
    shop.items["OR-210-N70"].save()
    close(job, left("N-70", 1, "back"))
    assert held("OR-210-N70", condition="quarantine", place__place="A1") == 1
    assert Posting.objects.get(kind="to_quarantine").job == job


def test_quarantine_is_the_cage(shop, job, close):
    close(job, left("H-1", 1, "quarantine", reason="thread looks wrong"))
    assert held("NUT", condition="quarantine", place__place="Q1") == 1
    assert Posting.objects.get(kind="to_quarantine").reason == "thread looks wrong"


def test_scrap_leaves_the_shop(shop, job, close):
    close(job, left("H-1", 1, "scrap", reason="dropped"), left("H-1", 2, "back"))
    assert held("NUT") == 38
    assert lots_used([job])[1].quantity.text == "1"


def test_what_was_reserved_for_the_job_is_free_again(shop, job, close):
    Reservation.objects.create(job=job, lot=Lot.objects.get(lot="H-1"), quantity=ONE)
    close(job)
    assert not Reservation.objects.exists()


def test_pieces_that_were_bagged_by_a_list_are_decided_on_too(shop, close):
    job = shop.job("J-2", stage="building")
    lot = Lot.objects.get(lot="H-1")
    set_job_counts([JobCount(job.pk, lot.pk, "bagged", 3 * ONE, shop.places["A2"].pk)], by=None, at=AT, key="bag")
    close(job, left("H-1", 1, "back"))
    assert held("NUT", place__place="A2", job__isnull=True) == 1
    assert lots_used([job])[0].quantity.text == "2"


def test_a_job_is_closed_once(shop, job, close):
    assert close(job, key="one") == close(job, key="one")
    assert refused(close, job, key="two") == (
        "J-1 was closed as tested on 4 Mar 2026: its bag is decided upon, so move stock in the storeroom instead."
    )
    assert Closing.objects.count() == 1
    assert Posting.objects.filter(kind="consume").count() == 1


def test_a_closed_job_is_not_picked_again(shop, job, close):
    close(job, closed_as=ClosedAs.SHIPPED)
    job.refresh_from_db()
    with pytest.raises(PickRefusal, match="J-1 is shipped and asks for no parts"):
        shop.start(job, key="again")


def test_a_line_of_a_closed_job_is_not_taken_back(shop, job, close):
    close(job)
    line = line_of(job.bags.get().pick_round, "NUT")
    with pytest.raises(PickRefusal, match="J-1 was closed as tested"):
        undo_line(line=line, by=shop.clerk, at=AT, request_key="undo")


def test_a_job_with_open_lines_is_not_closed(shop, close):
    job = shop.job("J-1", stage="building")
    made = shop.start(job)
    assert refused(close, job) == (
        f"J-1 still has 3 lines to pick on round {made.pk}: book them, or give the round up, before the job is closed."
    )
    job.refresh_from_db()
    assert job.stage == "building"


def test_a_held_job_is_not_closed(shop, close):
    assert refused(close, shop.job("J-1", stage="held")).startswith("J-1 is held and asks for no parts")


@pytest.mark.parametrize(
    ("decision", "says"),
    [
        (("H-1", 5, "back"), "The bag of J-1 holds 4 of NUT, lot H-1: 5 cannot be left over."),
        (("H-1", 0.5, "back"), "0.5 of NUT left over is no quantity: write a whole number, 0 for none."),
        (("H-1", 1, "scrap"), "1 of NUT, lot H-1, cannot be scrapped without a reason: write one."),
        (("H-1", 1, "quarantine"), "1 of NUT, lot H-1, cannot be put into quarantine without a reason: write one."),
        (("S-1", 1, "back"), "J-1 has nothing of one of the lots named in its bag: look at the bag again."),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_is_closed(shop, job, close, decision, says):
    code, quantity, goes = decision
    wanted = LeftOver(Lot.objects.get(lot=code).pk, int(quantity * ONE), LeftGoes(goes))
    assert refused(close, job, wanted) == says
    job.refresh_from_db()
    assert job.stage == "building"
    assert held("NUT", job=job) == 4


def test_pieces_of_unknown_origin_need_a_place(shop, close):
    job = shop.job("J-2", stage="building")
    lot = Lot.objects.get(lot="H-1")
    set_job_counts([JobCount(job.pk, lot.pk, "issued", 3 * ONE)], by=None, at=AT, key="bag")
    assert refused(close, job, left("H-1", 1, "back")) == (
        "Nobody knows where lot H-1 of NUT came from: choose the place it goes to."
    )


def test_a_bag_that_is_empty_closes_the_job_all_the_same(shop, close):
    job = shop.job("J-2", stage="building")
    assert close(job).job == job
    assert lots_used([job]) == []
