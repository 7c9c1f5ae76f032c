from datetime import date

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import ScopeSection, Setting
from kits.picking.actions import confirm_line, undo_line
from kits.picking.closing.actions import close_job
from kits.picking.closing.bag_decision import LeftOver
from kits.picking.errors import PickRefusal
from kits.picking.models import PickRound
from kits.picking.queries import lots_used
from kits.picking.words import LeftGoes
from kits.schedule.models import Job, JobStep, Verdict
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Entry, OnShelf, WithJob, post
from kits.stock.models import Balance, KitPiece, Lot, Posting, Reservation
from kits.stock.queries import ledger_differences
from kits.stock.writes import JobCount, set_job_counts
from tests.kits.picking.bench_shop import AT, BenchShop, full, held, line_of

pytestmark = pytest.mark.django_db

LESS = "one of them was taken from the old stock of the bench"
"""Why a pump is built although what is left over is missing in it."""


@pytest.fixture
def shop():
    return BenchShop()


@pytest.fixture
def job(shop):
    """A job with two kits, two rings and four nuts in its bag; its two balls were looked at."""
    job = shop.job("J-1", serial="H4-0117", stage="building")
    shop.looked_at(job)
    shop.pick(job)
    return job


@pytest.fixture
def close(shop):
    def close(job, *decisions, key="close", why=""):
        return close_job(job=job, decisions=decisions, by=shop.clerk, at=AT, key=key, why=why)

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
    assert job.stage == "built"
    assert ledger_differences() == []


def test_the_lots_that_went_into_a_serial_can_be_listed(shop, job, close):
    close(job, left("H-1", 1, "scrap", reason="dropped"), why=LESS)
    assert [(row.serial, row.part_number, row.lot, row.quantity.text) for row in lots_used([job])] == [
        ("H4-0117", "K-END", "K-1", "2"),
        ("H4-0117", "NUT", "H-1", "3"),
        ("H4-0117", "OR-210-N70", "N-70", "2"),
    ]
    assert lots_used([job])[0].last_use_on == date(2026, 3, 31)


def test_pieces_go_back_to_the_place_they_came_from_in_a_closed_packet(shop, job, close):
    close(job, left("N-70", 1, "back"), why=LESS)
    balance = Balance.objects.get(lot__lot="N-70", job__isnull=True, packet="resealed")
    assert (balance.place.place, balance.condition, balance.quantity) == ("A1", "usable", 39 * ONE)
    assert Posting.objects.get(kind="return_to_lot").job == job
    assert ledger_differences() == []


def test_pieces_can_go_back_to_another_place(shop, job, close):
    close(job, left("H-1", 2, "back", place_id=shop.places["A2"].pk), why=LESS)
    assert held("NUT", place__place="A2") == 2


def test_pieces_that_may_not_be_resealed_go_into_quarantine(shop, job, close):
    shop.items["OR-210-N70"].resealed_usable = False
    shop.items["OR-210-N70"].save()
    close(job, left("N-70", 1, "back"), why=LESS)
    assert held("OR-210-N70", condition="quarantine", place__place="A1") == 1
    assert Posting.objects.get(kind="to_quarantine").job == job


def test_quarantine_is_the_cage(shop, job, close):
    close(job, left("H-1", 1, "quarantine", reason="thread looks wrong"), why=LESS)
    assert held("NUT", condition="quarantine", place__place="Q1") == 1
    assert Posting.objects.get(kind="to_quarantine").reason == "thread looks wrong"


def test_scrap_leaves_the_shop(shop, job, close):
    close(job, left("H-1", 1, "scrap", reason="dropped"), left("H-1", 2, "back"), why=LESS)
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
    close(job, left("H-1", 1, "back"), why=LESS)
    assert held("NUT", place__place="A2", job__isnull=True) == 1
    assert lots_used([job])[0].quantity.text == "2"


def test_a_job_is_closed_once(shop, job, close):
    assert close(job, key="one") == close(job, key="one")
    assert refused(close, job, key="two") == ("J-1 is built and asks for no parts: leave it out, or open it again.")
    assert JobStep.objects.count() == 1
    assert Posting.objects.filter(kind="consume").count() == 1


def test_a_closed_job_is_not_picked_again(shop, job, close):
    close(job)
    job.refresh_from_db()
    with pytest.raises(PickRefusal, match="J-1 is built and asks for no parts: leave it out, or open it again"):
        shop.start(job, key="again")


def test_a_line_of_a_closed_job_is_not_taken_back(shop, job, close):
    close(job)
    line = line_of(PickRound.objects.get(), "NUT")
    with pytest.raises(PickRefusal, match="J-1 is built, so its bag is decided upon: open the job again first"):
        undo_line(line=line, by=shop.clerk, at=AT, request_key="undo")


def test_a_pump_that_lacks_a_piece_is_not_closed(shop, job, close):
    assert refused(close, job, left("H-1", 1, "back")) == (
        "J-1 cannot be closed yet: its bag lacks 1 of NUT. Do that first, or let a planner or the service lead "
        "close it all the same, with the reason."
    )
    job.refresh_from_db()
    assert (job.stage, held("NUT", job=job)) == ("building", 4)


def test_a_pump_that_nobody_stripped_is_not_closed(shop, job, close):
    Job.objects.update(stage="expected")
    assert "nobody has said that the pump was stripped: it is expected." in refused(close, job)


def test_a_pump_with_a_position_without_a_verdict_is_not_closed(shop, job, close):
    Verdict.objects.first().delete()
    assert "1 position has no verdict: pump 1 / END 1 / ball." in refused(close, job)


def test_a_pump_with_open_lines_is_not_closed(shop, job, close):
    with transaction.atomic():
        mark_shop()
        Verdict.objects.update(verdict="renew")
    shop.stock("BALL", "B-1", "A2", 5)
    made = shop.start(job, key="balls")
    assert (
        f"J-1 cannot be closed yet: 1 line of round {made.pk} is still to be picked; its bag lacks 2 of BALL."
        in refused(close, job)
    )


def test_a_lot_that_is_past_its_last_use_is_not_used_up_in_a_pump(shop, job, close):
    Setting.objects.filter(name="today").update(value="2026-04-01")
    assert "lot K-1 of K-END may be used up to 31 Mar 2026 only." in refused(close, job)


def test_a_kit_that_lacks_a_piece_is_not_taken_for_a_whole_one(shop, job, close):
    with transaction.atomic():
        mark_shop()
        KitPiece.objects.create(kit_lot=Lot.objects.get(lot="K-1"), item=shop.items["OR-210-N90"], quantity=0)
    assert "its bag lacks 2 of OR-210-N90." in refused(close, job)


def test_what_was_open_and_why_the_job_was_closed_all_the_same_are_kept(shop, close):
    job = shop.job("J-2", "one", stage="stripped")
    made = shop.start(job)
    step = close(job, why="put together from a pump in the store")
    assert step.says == "put together from a pump in the store"
    assert step.open_then == (
        f"3 lines of round {made.pk} are still to be picked; its bag lacks 1 of K-END, 2 of NUT and 1 of OR-210-N70; "
        "1 position has no verdict: pump 1 / END 1 / ball"
    )
    assert set(made.lines.values_list("state", flat=True)) == {"left"}
    made.refresh_from_db()
    assert (made.state, Reservation.objects.count()) == ("finished", 0)


def test_lines_that_others_wait_for_stay_on_the_round(shop, close):
    job, other = shop.job("J-2", "one", stage="stripped"), shop.job("J-3", "one")
    made = shop.start(job, other)
    close(job, why="put together from a pump in the store")
    assert set(made.lines.values_list("state", flat=True)) == {"open"}
    line = line_of(made, "NUT")
    with pytest.raises(PickRefusal, match="J-2 is built and asks for no parts"):
        confirm_line(line=line, quantities=full(line), by=shop.clerk, at=AT, request_key="all")
    confirm_line(line=line, quantities={other.pk: 2 * ONE}, by=shop.clerk, at=AT, request_key="one", reason="built")
    assert held("NUT", job=other) == 2


def test_no_reason_is_kept_where_nothing_was_open(shop, job, close):
    step = close(job, why="whatever")
    assert (step.says, step.open_then) == ("", "")


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


def test_a_job_that_needs_nothing_is_closed_with_an_empty_bag(shop, close):
    ScopeSection.objects.create(pump=shop.items["PUMP"], scope="look", section=shop.items["CASE"], how_many=1)
    job = shop.job("J-2", "look", stage="stripped")
    assert close(job).after == "built"
    assert lots_used([job]) == []


def test_nothing_more_goes_into_the_bag_of_a_closed_job(shop, job, close):
    close(job)
    account = WithJob(Lot.objects.get(lot="H-1").pk, job.pk, "issued")
    shelf = OnShelf(account.lot_id, shop.places["H1"].pk)
    with pytest.raises(StockRefusal, match="J-1 is built and its bag is decided upon: open the job again first"):
        extra_issue(shelf, account)


def test_a_list_says_what_a_pump_of_the_past_was_given_but_adds_nothing_to_one_that_was_closed_here(shop, job, close):
    close(job)
    past, lot = shop.job("J-0", stage="shipped"), Lot.objects.get(lot="H-1")
    set_job_counts([JobCount(past.pk, lot.pk, "issued", 2 * ONE)], by=None, at=AT, key="past")
    assert held("NUT", job=past) == 2
    with pytest.raises(StockRefusal, match="J-1 is built and its bag is decided upon"):
        set_job_counts([JobCount(job.pk, lot.pk, "issued", 2 * ONE)], by=None, at=AT, key="more")


@transaction.atomic
def extra_issue(shelf, account):
    post(entries=[Entry(shelf, -ONE), Entry(account, ONE)], kind="extra_issue", by=None, at=AT, key="extra")
