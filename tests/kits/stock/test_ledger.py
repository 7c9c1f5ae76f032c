from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, IntegrityError, connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from bom.values import ONE
from kits.catalog.caching.revisions import read_marks
from kits.catalog.models import Item
from kits.people.models import User
from kits.schedule.models import Job
from kits.stock import actions
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Entry, OnShelf, WithJob, post, reverse
from kits.stock.models import Balance, Lot, Movement, Place, Posting
from kits.stock.queries import ledger_differences

AT = datetime(2026, 3, 4, 9, tzinfo=UTC)


class Storeroom:
    """One item with two lots, two bins, and a job."""

    def __init__(self):
        self.clerk = User.objects.create(username="clerk")
        self.item = Item.objects.create(part_number="OR-014", description="ring", kind="part", stock_unit="each")
        pump = Item.objects.create(part_number="P-1", description="pump", kind="pump", stock_unit="each")
        self.job = Job.objects.create(job="J-1", pump=pump, scope="full", build_on=date(2026, 3, 9))
        self.lots = [Lot.objects.create(item=self.item, lot=code) for code in ("A", "B")]
        self.places = [Place.objects.create(place=name) for name in ("A-01", "A-02")]
        self.shelf = OnShelf(self.lots[0].pk, self.places[0].pk)
        self.bag = WithJob(self.lots[0].pk, self.job.pk)

    def post(self, key, kind, *entries):
        with transaction.atomic():
            return post(
                entries=[Entry(account, quantity * ONE) for account, quantity in entries],
                kind=kind,
                by=self.clerk,
                at=AT,
                key=key,
                job=self.job if kind == "pick" else None,
            )


def held(account):
    if isinstance(account, WithJob):
        found = Balance.objects.filter(lot_id=account.lot_id, job_id=account.job_id, state=account.state)
    else:
        found = Balance.objects.filter(lot_id=account.lot_id, place_id=account.place_id, condition=account.condition)
    return sum(found.values_list("quantity", flat=True)) / ONE


@pytest.fixture
def room(db):
    return Storeroom()


def test_a_pick_moves_pieces_from_the_shelf_into_the_bag(room):
    room.post("open", "receive", (room.shelf, 10))
    posting = room.post("pick", "pick", (room.shelf, -4), (room.bag, 4))
    assert (held(room.shelf), held(room.bag)) == (6, 4)
    assert posting.by == room.clerk
    assert sorted(posting.movements.values_list("quantity", flat=True)) == [-4 * ONE, 4 * ONE]
    assert ledger_differences() == []


def test_what_leaves_the_shelf_must_arrive_lot_by_lot(room):
    room.post("open", "receive", (room.shelf, 10))
    with pytest.raises(StockRefusal, match="1 arrive nowhere: name both sides"):
        room.post("pick", "pick", (room.shelf, -4), (room.bag, 3))
    other = WithJob(room.lots[1].pk, room.job.pk)
    with pytest.raises(StockRefusal, match="name both sides"):
        room.post("pick", "pick", (room.shelf, -4), (other, 4))
    assert held(room.shelf) == 10


def test_a_balance_never_goes_below_zero(room):
    room.post("open", "receive", (room.shelf, 3))
    with pytest.raises(StockRefusal) as refused:
        room.post("pick", "pick", (room.shelf, -4), (room.bag, 4))
    assert str(refused.value) == (
        "OR-014 A at A-01 (usable, sealed) holds 3, 4 cannot be taken from it: count it, or take another lot."
    )
    assert (held(room.shelf), held(room.bag)) == (3, 0)
    assert Posting.objects.count() == 1


def test_the_database_itself_refuses_a_negative_balance(room):
    with pytest.raises(IntegrityError), transaction.atomic():
        Balance.objects.create(lot=room.lots[0], place=room.places[0], quantity=-1)


def test_a_second_call_with_the_same_key_posts_nothing(room):
    first = room.post("tap", "receive", (room.shelf, 10))
    again = room.post("tap", "receive", (room.shelf, 10))
    assert again == first
    assert held(room.shelf) == 10
    assert Movement.objects.count() == 1


def test_a_reversal_puts_everything_back_and_points_at_what_it_reverses(room):
    room.post("open", "receive", (room.shelf, 10))
    pick = room.post("pick", "pick", (room.shelf, -4), (room.bag, 4))
    back = actions.reverse_posting(posting=pick, reason="wrong job", by=room.clerk, at=AT, key="undo")
    assert (held(room.shelf), held(room.bag)) == (10, 0)
    assert back.reverses == pick
    assert back.job == room.job
    assert pick.reversed_by == back
    assert actions.reverse_posting(posting=pick, reason="wrong job", by=room.clerk, at=AT, key="undo") == back


def test_a_posting_is_reversed_once(room):
    receipt = room.post("open", "receive", (room.shelf, 10))
    back = actions.reverse_posting(posting=receipt, reason="twice", by=room.clerk, at=AT, key="undo")
    with pytest.raises(StockRefusal, match="reversed already by posting"):
        actions.reverse_posting(posting=receipt, reason="twice", by=room.clerk, at=AT, key="undo 2")
    with pytest.raises(StockRefusal, match="is a reversal itself"):
        actions.reverse_posting(posting=back, reason="no", by=room.clerk, at=AT, key="undo 3")


def test_what_was_picked_away_cannot_be_unreceived(room):
    receipt = room.post("open", "receive", (room.shelf, 4))
    room.post("pick", "pick", (room.shelf, -4), (room.bag, 4))
    with pytest.raises(StockRefusal, match="holds 0, 4 cannot be taken"):
        actions.reverse_posting(posting=receipt, reason="not ours", by=room.clerk, at=AT, key="undo")


@pytest.mark.django_db(transaction=True)
def test_the_ledger_refuses_to_post_outside_a_transaction():
    room = Storeroom()
    with pytest.raises(RuntimeError, match="inside a transaction only"):
        post(entries=[Entry(room.shelf, ONE)], kind="receive", by=None, at=AT, key="k")


def test_a_posting_marks_the_shop_as_changed(room):
    before = read_marks()
    room.post("open", "receive", (room.shelf, 10))
    assert read_marks()[1] != before[1]


def test_nothing_to_post_is_refused(room):
    with pytest.raises(StockRefusal, match="nothing to post"):
        room.post("none", "count", (room.shelf, 0))


def test_postings_and_movements_cannot_be_changed(room):
    posting = room.post("open", "receive", (room.shelf, 10))
    movement = posting.movements.get()
    for change in (
        lambda: Movement.objects.update(quantity=1),
        lambda: Movement.objects.all().delete(),
        movement.save,
        movement.delete,
        posting.save,
    ):
        with pytest.raises(TypeError, match="post the reverse"):
            change()


@pytest.mark.parametrize("table", ["stock_posting", "stock_movement"])
def test_the_database_itself_refuses_to_change_what_was_posted(room, table):
    room.post("open", "receive", (room.shelf, 10))
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"UPDATE {table} SET id = id + 100")


def test_a_balance_that_differs_from_its_movements_is_named(room, capsys):
    room.post("open", "receive", (room.shelf, 10))
    call_command("check_ledger")
    assert capsys.readouterr().out == "Every balance is the sum of its movements: 1 balance, 1 movement.\n"
    Balance.objects.update(quantity=7 * ONE)
    with pytest.raises(CommandError, match="Of 1 balance, not the sum of its movements: 1"):
        call_command("check_ledger")
    assert "OR-014 A at A-01 (usable, sealed) holds 7, its movements come to 10." in capsys.readouterr().err


def test_a_posting_of_many_lots_takes_few_statements(room, django_assert_max_num_queries):
    lots = Lot.objects.bulk_create([Lot(item=room.item, lot=f"L{number}") for number in range(900)])
    entries = [Entry(OnShelf(lot.pk, room.places[0].pk), ONE) for lot in lots]
    with django_assert_max_num_queries(60), transaction.atomic():
        post(entries=entries, kind="opening", by=None, at=AT, key="many")
    assert Movement.objects.count() == 900
    assert ledger_differences() == []


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["receive", "pick", "return", "move", "count", "reverse", "again"]),
        st.integers(min_value=1, max_value=9),
        st.integers(min_value=0, max_value=3),
    ),
    max_size=12,
)


class LedgerProperties(TestCase):
    @settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow])
    @given(steps=STEPS)
    def test_balances_stay_the_sums_of_their_movements_whatever_happens(self, steps):
        room = Storeroom()
        shelves = [OnShelf(lot.pk, place.pk) for lot in room.lots for place in room.places]
        for number, (step, quantity, which) in enumerate(steps):
            shelf = shelves[which]
            bag = WithJob(shelf.lot_id, room.job.pk)
            entries = {
                "receive": [(shelf, quantity)],
                "pick": [(shelf, -quantity), (bag, quantity)],
                "return": [(bag, -quantity), (shelf, quantity)],
                "move": [(shelf, -quantity), (OnShelf(shelf.lot_id, shelf.place_id, "quarantine"), quantity)],
                "count": [(shelf, quantity - 5)],
            }
            before = dict(Balance.objects.values_list("pk", "quantity"))
            try:
                with transaction.atomic():
                    last = Posting.objects.first()
                    if step == "reverse":
                        if last is not None:
                            reverse(posting=last, by=None, at=AT, key=f"undo {number}", reason="")
                    elif step == "again":
                        if last is not None:
                            room.post(last.key, last.kind, (shelf, quantity), (bag, -quantity))
                            assert dict(Balance.objects.values_list("pk", "quantity")) == before
                    else:
                        kind = {"return": "return_to_lot"}.get(step, step)
                        room.post(f"key {number}", kind, *entries[step])
            except StockRefusal:
                after = dict(Balance.objects.values_list("pk", "quantity"))
                assert {pk: after.get(pk) for pk in before} == before
            assert ledger_differences() == []
            assert all(balance >= 0 for balance in Balance.objects.values_list("quantity", flat=True))


@pytest.mark.django_db(transaction=True)
def test_pickers_at_one_bin_never_take_more_than_lies_there():
    room = Storeroom()
    room.post("open", "receive", (room.shelf, 25))

    def pick(number):
        try:
            room.post(f"pick {number}", "pick", (room.shelf, -1), (room.bag, 1))
        except StockRefusal:
            return 0
        else:
            return 1
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as pickers:
        taken = sum(pickers.map(pick, range(40)))
    assert (taken, held(room.shelf), held(room.bag)) == (25, 0, 25)
    assert ledger_differences() == []
