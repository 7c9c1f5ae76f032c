from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from bom.values import ONE
from kits.catalog.models import Item
from kits.people.models import User
from kits.stock.actions import reverse_posting
from kits.stock.counts.actions import begin_count, end_count, record_count, write_down_found, write_down_unknown
from kits.stock.counts.due import due_rows
from kits.stock.counts.sheets import count_sheet, first_take
from kits.stock.errors import StockRefusal
from kits.stock.models import Balance, CountLine, Hold, Lot, Place
from kits.stock.queries import ledger_differences
from kits.stock.writes import LotFacts
from tests.kits.stock.deliveries import take_in

AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
TODAY = date(2026, 3, 4)

pytestmark = pytest.mark.django_db(transaction=True)


class Room:
    """A ring that ages, a cord by length, a dear seat, one bin."""

    def __init__(self):
        self.clerk = User.objects.create(username="clerk")
        self.ring = self.item("OR-1", shelf_life_months=60, unit_cost="0.20")
        self.cord = self.item("CO-1", stock_unit="mm", unit_cost="0.001")
        self.seat = self.item("SE-1", unit_cost="400")
        self.bin = Place.objects.create(place="A-01", walk_order=1)
        self.keys = iter(range(1000))

    def item(self, number, **facts):
        return Item.objects.create(
            **{"part_number": number, "description": "part", "kind": "part", "stock_unit": "each", **facts}
        )

    def receive(self, item, quantity, lot="L-1", at=AT):
        facts = LotFacts(cure="4Q25" if item.shelf_life_months else "")
        take_in(
            item=item, lot_code=lot, facts=facts, quantity=quantity * ONE, place_id=self.bin.pk, by=self.clerk,
            at=at, today=TODAY, key=f"in:{next(self.keys)}",
        )  # fmt: skip
        return Balance.objects.get(lot__item=item, lot__lot=lot)

    def begin(self, *balances):
        ids = [balance.pk for balance in balances]
        return begin_count(balance_ids=ids, by=self.clerk, at=AT, key=f"sheet:{next(self.keys)}")

    def hear(self, line, counted, key=None):
        key = key or f"heard:{next(self.keys)}"
        return record_count(line=line, counted=int(counted * ONE), by=self.clerk, at=AT, key=key)

    def find(self, item, quantity, lot="", **facts):
        return write_down_found(
            place=self.bin, item=item, lot_code=lot, facts=LotFacts(**facts), quantity=quantity * ONE, packet="sealed",
            by=self.clerk, at=AT, today=TODAY, key=f"found:{next(self.keys)}",
        )  # fmt: skip


@pytest.fixture
def room(db):
    return Room()


def test_count_that_agrees_posts_nothing(room):
    balance = room.receive(room.ring, 12)
    line = room.hear(room.begin(balance).lines.get(), 12)
    assert (line.state, line.posting) == ("agreed", None)


def test_one_ring_too_few_is_counted_again_and_posted_when_both_counts_agree(room):
    balance = room.receive(room.ring, 12)
    line = room.begin(balance).lines.get()
    assert room.hear(line, 11).state == "recount"
    balance.refresh_from_db()
    assert balance.quantity == 12 * ONE
    heard = room.hear(line, 11)
    balance.refresh_from_db()
    assert (heard.state, balance.quantity) == ("differed", 11 * ONE)
    assert heard.posting.kind == "count"
    assert "12 by the book, 11 counted" in heard.posting.reason
    assert ledger_differences() == []


def test_rings_have_no_tolerance_however_many_they_are(room):
    line = room.begin(room.receive(room.ring, 1000)).lines.get()
    assert room.hear(line, 999).state == "recount"


def test_a_double_tap_is_no_second_count(room):
    balance = room.receive(room.ring, 12)
    line = room.begin(balance).lines.get()
    room.hear(line, 11, key="tap")
    assert room.hear(line, 11, key="tap").state == "recount"
    balance.refresh_from_db()
    assert balance.quantity == 12 * ONE


def test_two_counts_that_differ_ask_for_a_third(room):
    line = room.begin(room.receive(room.ring, 12)).lines.get()
    room.hear(line, 11)
    assert room.hear(line, 10).state == "recount"
    assert room.hear(line, 12).state == "agreed"
    assert (line.count.lines.get().first, line.count.lines.get().last) == (11 * ONE, 12 * ONE)


def test_a_length_may_differ_a_little_and_is_posted_at_once_but_not_by_more(room):
    near, far = room.receive(room.cord, 1000), room.receive(room.cord, 1000, lot="L-2")
    sheet = room.begin(near, far)
    assert room.hear(sheet.lines.get(balance=near), 985).state == "differed"
    assert room.hear(sheet.lines.get(balance=far), 975).state == "recount"


def test_the_sheet_tells_no_book_figure_before_the_line_is_settled(room):
    sheet = room.begin(room.receive(room.ring, 12))
    room.hear(sheet.lines.get(), 11)
    row = count_sheet(sheet.pk).rows[0]
    assert (row.book, row.counted, row.difference, row.again) == (None, None, None, True)
    room.hear(sheet.lines.get(), 11)
    row = count_sheet(sheet.pk).rows[0]
    assert (row.book.figure, row.counted.figure, row.difference.figure) == ("12", "11", "-1")


def test_half_a_ring_cannot_be_counted(room):
    line = room.begin(room.receive(room.ring, 12)).lines.get()
    with pytest.raises(StockRefusal, match="no whole number"):
        room.hear(line, 11.5)


def test_what_is_on_a_running_sheet_comes_on_no_other(room):
    balance = room.receive(room.ring, 12)
    room.begin(balance)
    with pytest.raises(StockRefusal, match="not on a count sheet already"):
        room.begin(balance)


def test_ended_sheet_leaves_what_was_not_counted_alone(room):
    balance = room.receive(room.ring, 12)
    sheet = end_count(count=room.begin(balance), at=AT)
    assert sheet.lines.get().state == "left"
    with pytest.raises(StockRefusal, match="counted already"):
        room.hear(sheet.lines.get(), 12)


def test_dear_parts_are_counted_monthly_and_cheap_ones_yearly(room):
    ring, seat = room.receive(room.ring, 100), room.receive(room.seat, 10)
    sheet = room.begin(ring, seat)
    room.hear(sheet.lines.get(balance=ring), 100)
    room.hear(sheet.lines.get(balance=seat), 10)
    assert list(due_rows(today=TODAY)) == []
    later = [row.part_number for row in due_rows(today=TODAY + timedelta(days=31))]
    assert later == ["SE-1"]
    assert {row.part_number for row in due_rows(today=TODAY + timedelta(days=366))} == {"OR-1", "SE-1"}


def test_a_count_that_is_taken_back_is_due_again(room):
    line = room.begin(room.receive(room.ring, 12)).lines.get()
    room.hear(line, 11)
    posting = room.hear(line, 11).posting
    assert list(due_rows(today=TODAY)) == []
    reverse_posting(posting=posting, reason="wrong drawer", by=room.clerk, at=AT, key="back")
    assert [row.lot for row in due_rows(today=TODAY)] == ["L-1"]


def test_what_is_offered_dear_is_counted_monthly_though_the_item_has_no_cost(room):
    cheap, dear = room.receive(room.ring, 100), room.receive(room.item("VA-1"), 2)
    costs = {dear.lot.item_id: Decimal(900)}
    assert [(row.part_number, row.every_days) for row in due_rows(today=TODAY, costs=costs)] == [
        ("VA-1", 30),
        ("OR-1", 365),
    ]
    assert {row.balance_id for row in due_rows(today=TODAY)} == {cheap.pk, dear.pk}


def test_what_was_never_counted_is_due(room):
    room.receive(room.ring, 5)
    assert [(row.part_number, row.counted_on) for row in due_rows(today=TODAY)] == [("OR-1", None)]


def test_first_stock_take_puts_dated_on_the_shelf_and_holds_undated(room):
    dated, undated, lasts = room.find(room.ring, 8, cure="1Q24"), room.find(room.ring, 3), room.find(room.seat, 2)
    assert [one.held for one in (dated, undated, lasts)] == [False, True, False]
    assert Balance.objects.get(lot=undated.lot).condition == "quarantine"
    assert Hold.objects.get(lot=undated.lot).decides == "lead"
    assert undated.lot.lot == "FOUND-260304-2"
    write_down_unknown(place=room.bin, looks_like="green ring", quantity=None, by=room.clerk, at=AT, key="u")
    take = first_take(room.bin)
    assert take.groups == {"dated": 1, "lasts": 1, "undated": 1}
    assert [one.looks_like for one in take.unknown] == ["green ring"]
    assert ledger_differences() == []


def test_the_same_lot_written_down_again_is_all_of_it_not_more(room):
    room.find(room.ring, 8, lot="L-9", cure="1Q24")
    room.find(room.ring, 9, lot="L-9", cure="1Q24")
    assert Balance.objects.get(lot=Lot.objects.get(lot="L-9")).quantity == 9 * ONE
    assert CountLine.objects.count() == 1
