from datetime import UTC, date, datetime

import pytest

from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.models import Item
from kits.people.models import User
from kits.purchasing.models import OrderLine, Receipt, Supplier
from kits.purchasing.receiving.actions import receive_delivery, take_back
from kits.purchasing.receiving.checks import DeliveredLot
from kits.purchasing.receiving.life import AskedLife
from kits.stock.errors import StockRefusal
from kits.stock.models import Balance, Hold, Lot, Place, Posting
from kits.stock.queries import ledger_differences
from kits.stock.writes import LotFacts

AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
TODAY = date(2026, 3, 4)

pytestmark = pytest.mark.django_db(transaction=True)


class Door:
    """A ring of five years' life, three quarters of it asked for at receipt, 100 of it on order."""

    def __init__(self):
        self.clerk = User.objects.create(username="clerk")
        self.ring = Item.objects.create(
            part_number="OR-1", description="ring", kind="part", stock_unit="each", shelf_life_months=60,
            min_life_at_receipt="75 %",
        )  # fmt: skip
        self.bin = Place.objects.create(place="A-01")
        supplier = Supplier.objects.create(supplier="Ring House")
        self.line = OrderLine.objects.create(
            order="PO-1", line="1", supplier=supplier, item=self.ring, quantity=100 * ONE, promised_on=TODAY
        )
        self.keys = iter(range(100))

    def lot(self, quantity, code="L-1", cure="4Q25", condition="usable", **facts):
        return DeliveredLot(code, LotFacts(cure=cure, **facts), quantity * ONE, self.bin.pk, condition)

    def receive(self, *lots, line=None, key=None, **reasons):
        said = {"reason": "", "short_life_reason": "", "over_reason": "", "asked": {}, **reasons}
        key = key or f"receive:{next(self.keys)}"
        return receive_delivery(
            item=self.ring, order_line=line, lots=lots, by=self.clerk, at=AT, today=TODAY, key=key, **said
        )

    def left(self):
        self.line.refresh_from_db()
        return self.line.quantity // ONE, self.line.received_quantity // ONE


@pytest.fixture
def door(db):
    return Door()


def on_shelf():
    return {row.lot.lot: (row.quantity // ONE, row.condition) for row in Balance.objects.select_related("lot")}


def test_delivery_is_split_over_its_lots_and_comes_off_its_order(door):
    postings = door.receive(door.lot(40), door.lot(25, "L-2", cure="1Q26"), line=door.line)
    assert on_shelf() == {"L-1": (40, "usable"), "L-2": (25, "usable")}
    assert door.left() == (35, 65)
    assert {one.reason for one in postings} == {"order PO-1 line 1"}
    assert ledger_differences() == []


def test_double_tap_receives_once(door):
    for _ in range(2):
        door.receive(door.lot(40), door.lot(25, "L-2"), line=door.line, key="tap")
    assert (door.left(), Posting.objects.count()) == ((35, 65), 2)


def test_nothing_is_received_when_one_of_the_lots_is_refused(door):
    with pytest.raises(StockRefusal, match="L-2"):
        door.receive(door.lot(40), door.lot(25, "L-2", cure=""), line=door.line)
    assert (on_shelf(), door.left()) == ({}, (100, 0))


def test_lot_with_too_little_life_is_refused_or_accepted_with_a_reason(door):
    with pytest.raises(StockRefusal, match="less than the 75 % asked for at receipt"):
        door.receive(door.lot(40, cure="1Q23"))
    posting = door.receive(door.lot(40, cure="1Q23"), short_life_reason="for J-1, built next week")[0]
    assert posting.reason == "too little life left, accepted: for J-1, built next week"


JULY = date(2030, 7, 16)
ASKED = AskedLife(JULY, "3Q2025", (("J-2", Amount(2 * ONE)), ("J-3", Amount(ONE))))


def test_lot_that_does_not_last_to_what_it_was_bought_for_is_refused_and_says_whom_it_leaves_short(door):
    with pytest.raises(StockRefusal) as refused:
        door.receive(door.lot(40, cure="1Q25"), asked={0: ASKED})
    assert str(refused.value) == (
        "Lot L-1 of OR-1 may be used up to 31 Mar 2030, but has to last to 16 Jul 2030 (cured in 3Q2025 or later); it "
        "leaves J-2 short by 2 and J-3 by 1: send it back, receive it into quarantine, or say why it is accepted."
    )


def test_both_lacks_of_life_stand_in_one_sentence(door):
    with pytest.raises(
        StockRefusal, match=r"asked for at receipt, and has to last to 16 Jul 2030; it leaves no job short"
    ):
        door.receive(door.lot(40, cure="1Q23"), asked={0: AskedLife(JULY, "", ())})


def test_many_jobs_that_go_short_are_counted(door):
    many = tuple((f"J-{number}", Amount(ONE)) for number in range(8))
    with pytest.raises(
        StockRefusal, match="it leaves J-0 short by 1, J-1 by 1, J-2 by 1, J-3 by 1, J-4 by 1 and 3 more:"
    ):
        door.receive(door.lot(40), asked={0: AskedLife(JULY, "", many)})


def test_reason_stands_with_the_old_lot_alone(door):
    said = {"asked": {1: ASKED}, "short_life_reason": "for J-1"}
    postings = door.receive(door.lot(40), door.lot(25, "L-2"), line=door.line, **said)
    assert [one.reason for one in postings] == [
        "order PO-1 line 1",
        "order PO-1 line 1; too little life left, accepted: for J-1",
    ]


def test_old_lot_goes_into_quarantine_without_a_reason(door):
    door.receive(door.lot(4, condition="quarantine"), asked={0: ASKED})
    assert on_shelf() == {"L-1": (4, "quarantine")}


@pytest.mark.parametrize(
    ("facts", "says"),
    [({"cure": ""}, "no cure date and no use-by date"), ({"cure": "1Q20"}, "past its last day of use, 31 Mar 2025")],
)
def test_lot_that_may_not_be_used_goes_into_quarantine_only(door, facts, says):
    accepted = {"short_life_reason": "take it"}
    if facts["cure"] == "1Q20":
        says = "past its last day of use"
    with pytest.raises(StockRefusal, match=says):
        door.receive(door.lot(4, **facts), **accepted)
    door.receive(door.lot(4, condition="quarantine", **facts), reason="wrong paper")
    assert on_shelf() == {"L-1": (4, "quarantine")}
    assert Hold.objects.get().decides == "purchasing"


def test_part_that_needs_a_certificate_is_not_taken_without_one(door):
    Item.objects.update(certificate_needed=True)
    door.ring.refresh_from_db()
    with pytest.raises(StockRefusal, match="needs a certificate"):
        door.receive(door.lot(4))
    door.receive(door.lot(4, certificate="C-77"))
    door.receive(door.lot(4))
    assert Lot.objects.get().certificate == "C-77"


def test_more_than_ordered_is_refused_or_accepted_with_a_reason(door):
    with pytest.raises(StockRefusal, match="20 more of OR-1 came than line 1 of order PO-1"):
        door.receive(door.lot(120), line=door.line)
    posting = door.receive(door.lot(120), line=door.line, over_reason="whole bag")[0]
    assert "20 more than ordered: whole bag" in posting.reason
    assert door.left() == (0, 120)


def test_receipt_taken_back_opens_its_order_by_just_what_it_took_off(door):
    over = door.receive(door.lot(120), line=door.line, over_reason="whole bag")[0]
    take_back(posting=over, reason="wrong box", by=door.clerk, at=AT, key="back")
    take_back(posting=over, reason="wrong box", by=door.clerk, at=AT, key="back")
    assert door.left() == (100, 0)
    assert sorted(Receipt.objects.values_list("quantity", "off_open")) == [
        (-120 * ONE, -100 * ONE),
        (120 * ONE, 100 * ONE),
    ]
    assert on_shelf() == {"L-1": (0, "usable")}


def test_nothing_is_taken_back_without_a_reason(door):
    posting = door.receive(door.lot(4))[0]
    with pytest.raises(StockRefusal, match="without a reason"):
        take_back(posting=posting, reason=" ", by=door.clerk, at=AT, key="back")
