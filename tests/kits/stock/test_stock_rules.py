from datetime import UTC, date, datetime

import pytest

from kits.catalog.models import Item
from kits.schedule.models import Job
from kits.stock.models import Balance, Lot, Movement, Place, Posting, Reservation
from tests.kits.refusals import assert_refused

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 4, 9, tzinfo=UTC)


@pytest.fixture
def ring():
    return Item.objects.create(
        part_number="OR-1", description="x", kind="part", stock_unit="each", shelf_life_months=36
    )


@pytest.fixture
def lot(ring):
    return Lot.objects.create(item=ring, lot="A")


@pytest.fixture
def bin_():
    return Place.objects.create(place="A-01")


@pytest.fixture
def job(ring):
    return Job.objects.create(job="J-1", pump=ring, scope="full", build_on=date(2026, 3, 9))


def test_names_of_the_storeroom_stand_once(ring, lot, bin_, job):
    assert_refused(Place(place="a–01"), "A place of this name exists already.")
    assert_refused(Lot(item=ring, lot=" a "), "The item has a lot of this code already.")
    Balance.objects.create(lot=lot, place=bin_)
    Balance.objects.create(lot=lot, place=bin_, packet="resealed")
    assert_refused(Balance(lot=lot, place=bin_), "The lot has an account for this place, condition and packet already.")
    bag = {"lot": lot, "job": job, "condition": "", "packet": ""}
    Balance.objects.create(**bag, state="bagged")
    Balance.objects.create(**bag, state="issued")
    assert_refused(Balance(**bag, state="issued"), "The lot has an account for this job and state already.")
    Reservation.objects.create(lot=lot, job=job, quantity=1)
    assert_refused(Reservation(lot=lot, job=job, quantity=1), "The job has pieces of this lot reserved already.")
    assert_refused(Reservation(lot=lot, job=job, quantity=0), "A reservation holds more than 0.")


@pytest.mark.parametrize(
    "columns",
    [
        {},
        {"state": "issued", "place": True},
        {"job": True},
        {"job": True, "state": "issued"},
        {"place": True, "condition": "rusty"},
        {"place": True, "packet": ""},
        {"job": True, "state": "lost", "condition": "", "packet": ""},
    ],
)
def test_a_balance_stands_at_a_place_or_with_a_job(lot, bin_, job, columns):
    if "place" in columns:
        columns = {**columns, "place": bin_}
    if "job" in columns:
        columns = {**columns, "job": job}
    assert_refused(
        Balance(lot=lot, **columns),
        "A balance stands at a place, with its condition and packet, or with a job, bagged, issued or extra.",
    )


def test_nothing_holds_less_than_nothing(lot, bin_):
    assert_refused(Balance(lot=lot, place=bin_, quantity=-1), "Nothing can hold less than 0: count it.")


def test_a_posting_and_its_movements_keep_their_rules(lot, bin_):
    assert_refused(
        Posting(key="a", kind="gift", at=AT),
        "Kind is one of: opening, receive, count, pick, extra_issue, issue, return_to_lot, to_quarantine, move, scrap, "
        "opening_return, consume, pack, unpack, rob, fill_up, freeze, lift, release, open_packet, close_packet, "
        "adjust, dispose, send_out, come_back, reversal.",
    )
    assert_refused(Posting(key="a", kind="reversal", at=AT), "A reversal names the posting that it reverses.")
    posting = Posting.objects.create(key="a", kind="count", at=AT)
    assert_refused(Posting(key="a", kind="count", at=AT), "This request was posted already.")
    balance = Balance.objects.create(lot=lot, place=bin_)
    assert_refused(Movement(posting=posting, balance=balance, quantity=0), "A movement moves something.")
    Movement.objects.create(posting=posting, balance=balance, quantity=1)
    assert_refused(Movement(posting=posting, balance=balance, quantity=1), "A posting moves a balance once.")


def test_a_cure_date_and_its_first_day_go_together(ring):
    says = "A cure date and the day from which it counts go together."
    assert_refused(Lot(item=ring, lot="B", cure="4Q20"), says)
    assert_refused(Lot(item=ring, lot="B", cure_on=date(2021, 1, 1)), says)


def test_the_last_day_of_use_follows_the_shelf_life_of_the_item(ring):
    lot = Lot.objects.create(item=ring, lot="B", cure="4Q20", cure_on=date(2021, 1, 1))
    assert lot.last_use_on == date(2023, 12, 31)
    ring.shelf_life_months = 60
    assert lot.last_use_on == date(2025, 12, 31)
    lot.printed_last_use_on = date(2025, 6, 30)
    assert lot.last_use_on == date(2025, 6, 30)
    ring.shelf_life_months = None
    assert lot.last_use_on == date(2025, 6, 30)
