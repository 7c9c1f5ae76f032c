"""Outside work: pieces leave the shelf or stay out of their pump until they are back, and a job waits for them."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from bom.values import ONE
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.picking.closing.open_points import may_be_built
from kits.planning.lists.waiting_list import waiting_list
from kits.planning.queries import plan_now
from kits.purchasing.models import OutsideWork, Supplier
from kits.purchasing.outside.actions import (
    WorkWanted,
    move_outside_promise,
    send_from_shelf,
    send_position,
    take_back_in,
    take_sending_back,
)
from kits.purchasing.outside.queries import outside_list, positions_to_send, waited_for
from kits.schedule.models import Job, Verdict
from kits.stock.ledger import OnShelf
from kits.stock.models import Balance, Hold, Lot, Movement, Place, Reservation
from kits.stock.queries import ledger_differences
from kits.stock.suspects.actions import freeze_lot
from tests.kits.exchange.books import AT, SHOP, load_sheets
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 4)
PROMISED = date(2026, 3, 13)
WHERE = "pump 1 / E-1 1 / ball"


@pytest.fixture
def buyer(db):
    load_sheets(SHOP)
    return person_of("Purchasing", "buyer")


@pytest.fixture
def job(buyer):
    Job.objects.update(stage="stripped")
    return Job.objects.get()


@pytest.fixture
def verdict(job):
    return Verdict.objects.create(job=job, where=WHERE, item=Item.objects.get(part_number="BA-1"), verdict="rework")


@pytest.fixture
def shelf():
    lot = Lot.objects.get(lot="B-7")
    return OnShelf(lot.pk, Place.objects.get(place="A1").pk)


def wanted(**facts):
    said = {
        "supplier": Supplier.objects.get(),
        "work": "hard chrome, then lapped",
        "left_in": "water glycol, flushed",
        "sent_on": TODAY,
        "promised_on": PROMISED,
    }
    return WorkWanted(**{**said, **facts})


def who(by, key):
    return {"by": by, "at": AT, "today": TODAY, "key": key}


def back(work, by, key="back1~a", outcome="good", **facts):
    said = {"outcome": outcome, "on": TODAY, "note": "", "certificate": "", "place_id": None}
    take_back_in(work=work, **{**said, **facts}, **who(by, key))


def on_shelf(lot="B-7", **facts):
    return sum(Balance.objects.on_shelf().filter(lot__lot=lot, **facts).values_list("quantity", flat=True)) / ONE


def test_while_pieces_are_out_they_are_not_on_hand_and_come_back_to_their_place(buyer, shelf):
    work = send_from_shelf(wanted=wanted(), source=shelf, quantity=2 * ONE, job=None, **who(buyer, "out1~a"))
    assert on_shelf() == 1
    assert sum(lot.quantity for lot in plan_now().shop.lots if lot.part_number == "BA-1") == ONE
    back(work, buyer, place_id=shelf.place_id)
    assert on_shelf(condition="usable") == 3
    kinds = [movement.posting.kind for movement in Movement.objects.filter(balance__lot__lot="B-7").order_by("pk")]
    assert kinds == ["opening", "send_out", "come_back"]
    assert ledger_differences() == []


def test_a_second_tap_sends_and_brings_nothing_more(buyer, shelf):
    for _ in range(2):
        work = send_from_shelf(wanted=wanted(), source=shelf, quantity=ONE, job=None, **who(buyer, "out1~a"))
    assert (OutsideWork.objects.count(), on_shelf()) == (1, 2)
    for _ in range(2):
        back(work, buyer, place_id=shelf.place_id)
    assert on_shelf() == 3
    with pytest.raises(Refusal, match="closed already, came back good"):
        back(work, buyer, "back2~a", place_id=shelf.place_id)


def test_what_is_not_good_lies_in_quarantine_for_purchasing(buyer, shelf):
    work = send_from_shelf(wanted=wanted(), source=shelf, quantity=ONE, job=None, **who(buyer, "out1~a"))
    with pytest.raises(Refusal, match="Write what is wrong"):
        back(work, buyer, outcome="not_good", place_id=shelf.place_id)
    back(work, buyer, outcome="not_good", note="chrome flakes", place_id=shelf.place_id)
    assert (on_shelf(condition="usable"), on_shelf(condition="quarantine")) == (2, 1)
    assert (Hold.objects.get().decides, Hold.objects.get().reason) == ("purchasing", "chrome flakes")


def test_what_is_lost_stays_off_the_shelf_and_what_was_not_sent_lies_where_it_lay(buyer, shelf):
    lost = send_from_shelf(wanted=wanted(), source=shelf, quantity=ONE, job=None, **who(buyer, "out1~a"))
    back(lost, buyer, outcome="lost", note="fell into the bath")
    assert on_shelf() == 2
    kept = send_from_shelf(wanted=wanted(), source=shelf, quantity=ONE, job=None, **who(buyer, "out2~a"))
    take_sending_back(work=kept, why="the van had left", **who(buyer, "not1~a"))
    assert on_shelf() == 2
    assert [row.state for row in outside_list(TODAY, plan_now().calendar, every=True)] == [
        "not sent after all",
        "will not come back",
    ]


def test_a_job_waits_for_its_position_until_the_verdict_is_given(buyer, job, verdict):
    assert [one.where for one in positions_to_send(job)] == [WHERE]
    work = send_position(wanted=wanted(), verdict=verdict, **who(buyer, "out1~a"))
    assert positions_to_send(job) == []
    says = f"{WHERE} of BA-1 at Ring House, promised for 13 Mar"
    points = [point.says for point in may_be_built(plan_now(), job)]
    assert f"outside work {work.pk}: {says}" in points
    assert f"1 position is out for rework: {WHERE}" in points
    (row,) = [row for row in waiting_list(plan_now()).rows if row.job == "J-1"]
    assert says in row.promise
    back(work, buyer)
    points = [point.says for point in may_be_built(plan_now(), job)]
    assert [says for says in points if says.startswith("outside work")] == []
    assert f"1 position is out for rework: {WHERE}" in points


def test_a_position_that_is_renewed_after_all_is_not_waited_for(buyer, job, verdict):
    send_position(wanted=wanted(), verdict=verdict, **who(buyer, "out1~a"))
    assert list(waited_for(None, TODAY)) == ["J-1"]
    Verdict.objects.update(verdict="renew")
    assert waited_for(None, TODAY) == {}


def test_a_position_goes_out_once_at_a_time_and_only_for_rework(buyer, job, verdict):
    work = send_position(wanted=wanted(), verdict=verdict, **who(buyer, "out1~a"))
    with pytest.raises(Refusal, match="is out already"):
        send_position(wanted=wanted(), verdict=verdict, **who(buyer, "out2~a"))
    with transaction.atomic(), pytest.raises(IntegrityError):
        OutsideWork.objects.create(
            key="beside", supplier=work.supplier, work="w", left_in="l", job=job, item=work.item, where=work.where,
            quantity=ONE, sent_on=TODAY, promised_on=PROMISED, by=buyer, at=AT,
        )  # fmt: skip
    back(work, buyer, outcome="not_good", note="out of round")
    Verdict.objects.update(verdict="keep")
    with pytest.raises(Refusal, match="is not out for rework any more"):
        send_position(wanted=wanted(), verdict=verdict, **who(buyer, "out3~a"))


def test_nothing_goes_out_that_is_set_aside_for_others_or_under_suspicion(buyer, job, shelf):
    Reservation.objects.create(job=job, lot_id=shelf.lot_id, quantity=2 * ONE)
    with pytest.raises(Refusal, match="BA-1 B-7 has 2 set aside for other jobs"):
        send_from_shelf(wanted=wanted(), source=shelf, quantity=2 * ONE, job=None, **who(buyer, "out1~a"))
    assert on_shelf() == 3
    work = send_from_shelf(wanted=wanted(), source=shelf, quantity=2 * ONE, job=job, **who(buyer, "out2~a"))
    freeze_lot(lot=Lot.objects.get(lot="B-7"), reason="hard spots", by=buyer, at=AT, key="freeze")
    with pytest.raises(Refusal, match="has come under suspicion"):
        back(work, buyer, place_id=shelf.place_id)
    with pytest.raises(Refusal, match="under suspicion: it goes nowhere"):
        send_from_shelf(wanted=wanted(), source=shelf, quantity=ONE, job=None, **who(buyer, "out3~a"))
    back(work, buyer, "back2~a", outcome="not_good", note="the lot is suspect", place_id=shelf.place_id)
    assert on_shelf(condition="quarantine") == 3


@pytest.mark.parametrize(
    ("facts", "says"),
    [
        ({"sent_on": date(2026, 3, 5)}, "5 Mar 2026 is still to come"),
        ({"promised_on": date(2026, 3, 3)}, "before it was sent"),
    ],
)
def test_days_that_cannot_be_are_refused(buyer, shelf, facts, says):
    with pytest.raises(Refusal, match=says):
        send_from_shelf(wanted=wanted(**facts), source=shelf, quantity=ONE, job=None, **who(buyer, "out1~a"))
    assert on_shelf() == 3


def test_a_certificate_that_was_asked_for_is_not_forgotten(buyer, shelf):
    asked = wanted(wants_certificate=True, price=Decimal("18.50"))
    work = send_from_shelf(wanted=asked, source=shelf, quantity=ONE, job=None, **who(buyer, "out1~a"))
    with pytest.raises(Refusal, match="A certificate was asked for"):
        back(work, buyer, place_id=shelf.place_id)
    back(work, buyer, place_id=shelf.place_id, certificate="C-881")
    work.refresh_from_db()
    assert (work.certificate, work.outcome, work.back_by) == ("C-881", "good", buyer)


def test_a_promise_moves_and_the_earlier_one_stays(buyer, shelf):
    work = send_from_shelf(wanted=wanted(), source=shelf, quantity=ONE, job=None, **who(buyer, "out1~a"))
    later = date(2026, 3, 20)
    move_outside_promise(work=work, promised_on=later, says="Ms Hale: bath down", **who(buyer, "later1~a"))
    work.refresh_from_db()
    assert work.promised_on == later
    assert [(one.was_on, one.promised_on, one.says) for one in work.promises.all()] == [
        (PROMISED, later, "Ms Hale: bath down")
    ]
    with pytest.raises(Refusal, match="3 Mar 2026 has passed"):
        move_outside_promise(work=work, promised_on=date(2026, 3, 3), says="x", **who(buyer, "later2~a"))


def test_late_work_counts_working_days(buyer, shelf):
    send_from_shelf(wanted=wanted(), source=shelf, quantity=ONE, job=None, **who(buyer, "out1~a"))
    OutsideWork.objects.update(sent_on=date(2026, 2, 20), promised_on=date(2026, 2, 27))
    assert [row.days_late for row in outside_list(TODAY, plan_now().calendar)] == [3]
