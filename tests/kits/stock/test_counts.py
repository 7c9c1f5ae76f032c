from datetime import UTC, date, datetime

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.models import Item
from kits.people.models import User
from kits.schedule.models import Job
from kits.stock import actions
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Entry, OnShelf, WithJob, post
from kits.stock.models import Balance, Lot, Movement, Place, Posting, Reservation
from kits.stock.queries import job_stock, ledger_differences
from kits.stock.writes import JobCount, LotFacts, ShelfCount, post_shelf_counts, set_job_counts
from tests.kits.stock.deliveries import take_in

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 4, 9, tzinfo=UTC)


@pytest.fixture
def clerk():
    return User.objects.create(username="clerk")


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


def load_shelf(account, quantity, key):
    with transaction.atomic():
        return post_shelf_counts([ShelfCount(account, quantity * ONE)], by=None, at=AT, key=key)


def load_job(key, *counts):
    with transaction.atomic():
        return set_job_counts(counts, by=None, at=AT, key=key)


def test_a_new_lot_opens_and_a_lot_that_moved_is_counted(lot, bin_):
    shelf = OnShelf(lot.pk, bin_.pk)
    assert [posting.kind for posting in load_shelf(shelf, 10, "first")] == ["opening"]
    assert load_shelf(shelf, 10, "again") == []
    counted = load_shelf(shelf, 7, "changed")
    assert [posting.kind for posting in counted] == ["count"]
    assert Movement.objects.get(posting=counted[0]).quantity == -3 * ONE
    assert ledger_differences() == []


def test_a_listed_lot_of_nothing_keeps_its_account(lot, bin_):
    assert load_shelf(OnShelf(lot.pk, bin_.pk), 0, "empty") == []
    assert Balance.objects.get().quantity == 0


def test_a_count_by_hand_is_posted_once_and_agrees_silently(lot, bin_, clerk):
    shelf = OnShelf(lot.pk, bin_.pk)
    first = actions.count_shelf(account=shelf, counted=5 * ONE, reason="found", by=clerk, at=AT, key="c1")
    again = actions.count_shelf(account=shelf, counted=5 * ONE, reason="found", by=clerk, at=AT, key="c1")
    assert first == again
    assert actions.count_shelf(account=shelf, counted=5 * ONE, reason="", by=clerk, at=AT, key="c2") is None
    actions.count_shelf(account=shelf, counted=0, reason="gone", by=clerk, at=AT, key="c3")
    assert Balance.objects.get().quantity == 0
    with pytest.raises(StockRefusal, match="A count of -1 is below 0"):
        actions.count_shelf(account=shelf, counted=-ONE, reason="", by=clerk, at=AT, key="c4")


def test_what_is_listed_with_jobs_leaves_the_shelf_alone_and_loads_once(lot, bin_, job):
    load_shelf(OnShelf(lot.pk, bin_.pk), 10, "shelf")
    listed = [
        JobCount(job.pk, lot.pk, "reserved", 1 * ONE, bin_.pk),
        JobCount(job.pk, lot.pk, "bagged", 2 * ONE, bin_.pk),
        JobCount(job.pk, lot.pk, "issued", 5 * ONE),
        JobCount(job.pk, lot.pk, "returned", 3 * ONE),
    ]
    assert [posting.kind for posting in load_job("one", *listed)] == ["opening", "opening_return"]
    assert load_job("two", *listed) == []
    assert Balance.objects.on_shelf().get().quantity == 10 * ONE
    assert {(row.state, row.quantity // ONE, row.place) for row in job_stock()} == {
        ("reserved", 1, "A-01"),
        ("bagged", 2, "A-01"),
        ("issued", 5, ""),
        ("returned", 3, ""),
    }
    assert Balance.objects.get(state="issued").quantity == 2 * ONE
    assert ledger_differences() == []


def test_a_changed_list_posts_the_difference(lot, job):
    load_job("one", JobCount(job.pk, lot.pk, "issued", 5 * ONE), JobCount(job.pk, lot.pk, "reserved", ONE))
    load_job("two", JobCount(job.pk, lot.pk, "issued", 4 * ONE), JobCount(job.pk, lot.pk, "reserved", 0))
    assert [(row.state, row.quantity) for row in job_stock()] == [("issued", 4 * ONE)]
    assert not Reservation.objects.exists()


def test_more_returned_than_issued_is_refused(lot, job):
    with pytest.raises(StockRefusal, match="OR-1 A issued to J-1 holds 1, 2 cannot be taken from it"):
        load_job("one", JobCount(job.pk, lot.pk, "issued", ONE), JobCount(job.pk, lot.pk, "returned", 2 * ONE))
    assert Posting.objects.count() == 0


def test_a_return_that_is_taken_back_is_no_issue(lot, bin_, job, clerk):
    shelf, issued = OnShelf(lot.pk, bin_.pk), WithJob(lot.pk, job.pk, "issued")
    load_shelf(shelf, 10, "shelf")
    with transaction.atomic():
        pick = [Entry(shelf, -4 * ONE), Entry(issued, 4 * ONE)]
        post(entries=pick, kind="pick", by=clerk, at=AT, key="pick", job=job)
        back = [Entry(issued, -1 * ONE), Entry(shelf, 1 * ONE)]
        returned = post(entries=back, kind="return_to_lot", by=clerk, at=AT, key="back", job=job)
    assert {(row.state, row.quantity // ONE) for row in job_stock()} == {("issued", 4), ("returned", 1)}
    actions.reverse_posting(posting=returned, reason="kept", by=clerk, at=AT, key="undo")
    assert {(row.state, row.quantity // ONE) for row in job_stock()} == {("issued", 4)}


def receive(ring, bin_, clerk, key, **columns):
    facts = LotFacts(**{"cure": "4Q25", **columns})
    return take_in(
        item=ring,
        lot_code="L-1",
        facts=facts,
        quantity=5 * ONE,
        place_id=bin_.pk,
        by=clerk,
        at=AT,
        today=date(2026, 3, 4),
        key=key,
    )


def test_a_receipt_makes_the_lot_and_a_second_adds_to_it(ring, bin_, clerk):
    receive(ring, bin_, clerk, "r1")
    receive(ring, bin_, clerk, "r2")
    lot = Lot.objects.get()
    assert (lot.cure, lot.cure_on) == ("4Q25", date(2026, 1, 1))
    assert lot.balances.get().quantity == 10 * ONE


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ({"cure": "3Q25"}, "Lot L-1 of OR-1 has the cure date 4Q25, not 3Q25"),
        ({"printed_last_use_on": date(2026, 6, 30)}, "has the printed last use unknown, not 30 Jun 2026"),
        ({"owner": "Ferry line"}, "belongs to the shop, not to Ferry line"),
    ],
)
def test_a_receipt_that_contradicts_its_lot_is_refused(ring, bin_, clerk, columns, says):
    receive(ring, bin_, clerk, "r1")
    with pytest.raises(StockRefusal, match=says):
        receive(ring, bin_, clerk, "r2", **columns)
    assert Balance.objects.get().quantity == 5 * ONE


def test_pieces_move_between_places_conditions_and_packets(lot, bin_, clerk):
    shelf, cage = OnShelf(lot.pk, bin_.pk), OnShelf(lot.pk, bin_.pk, "quarantine")
    load_shelf(shelf, 10, "shelf")
    moved = actions.move_stock(source=shelf, target=cage, quantity=4 * ONE, reason="suspect", by=clerk, at=AT, key="m")
    assert moved.kind == "to_quarantine"
    resealed = OnShelf(lot.pk, bin_.pk, packet="resealed")
    actions.move_stock(source=shelf, target=resealed, quantity=2 * ONE, reason="opened", by=clerk, at=AT, key="n")
    actions.scrap_stock(source=cage, quantity=ONE, reason="torn", by=clerk, at=AT, key="s")
    held = {(one.condition, one.packet): one.quantity // ONE for one in Balance.objects.all()}
    assert held == {("usable", "sealed"): 4, ("quarantine", "sealed"): 3, ("usable", "resealed"): 2}
    with pytest.raises(StockRefusal, match="goes nowhere"):
        actions.move_stock(source=shelf, target=shelf, quantity=ONE, reason="", by=clerk, at=AT, key="o")
    with pytest.raises(StockRefusal, match="needs more than 0 and a reason"):
        actions.scrap_stock(source=cage, quantity=ONE, reason=" ", by=clerk, at=AT, key="p")
