from datetime import UTC, date, datetime

import pytest

from bom.values import ONE
from kits.catalog.models import Item
from kits.people.models import User
from kits.purchasing.models import Offer, OrderLine, Supplier
from kits.stock.errors import StockRefusal
from kits.stock.models import Balance, Lot, Place, Posting
from kits.stock.writes import LotFacts
from tests.kits.refusals import assert_refused
from tests.kits.stock.deliveries import take_in

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 4, 9, tzinfo=UTC)


@pytest.fixture
def ring():
    return Item.objects.create(part_number="OR-1", description="ring", kind="part", stock_unit="each")


@pytest.fixture
def supplier():
    return Supplier.objects.create(supplier="Norrvik Seals")


@pytest.fixture
def line(ring, supplier):
    return OrderLine.objects.create(
        order="PO-1", line="1", supplier=supplier, item=ring, quantity=10 * ONE, promised_on=date(2026, 3, 9)
    )


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ({"pack_size": 0}, "A pack holds more than 0."),
        ({"minimum_packs": 0}, "The minimum is at least 1 pack."),
        ({"multiple_packs": 0}, "The multiple is at least 1 pack."),
        ({"price_from_packs": 0}, "A price holds from at least 1 pack on."),
        ({"price_per_pack": -1}, "A price is not below 0."),
    ],
)
def test_an_offer_keeps_its_rules(ring, supplier, columns, says):
    assert_refused(Offer(supplier=supplier, item=ring, **columns), says)


def test_keys_of_purchasing_stand_once(ring, supplier, line):
    assert_refused(Supplier(supplier="norrvik  SEALS"), "A supplier of this name exists already.")
    Offer.objects.create(supplier=supplier, item=ring, supplier_part_number="X1")
    Offer.objects.create(supplier=supplier, item=ring, supplier_part_number="X1", price_from_packs=4)
    assert_refused(
        Offer(supplier=supplier, item=ring, supplier_part_number="x1"),
        "The supplier offers this number in this pack from this many packs already.",
    )
    again = {"supplier": supplier, "item": ring, "quantity": ONE, "promised_on": date(2026, 3, 9)}
    assert_refused(OrderLine(order="po-1", line="1", **again), "The order has a line of this number already.")
    OrderLine.objects.create(order="PO-1", line="2", **again)
    assert OrderLine.objects.by_number("po–1", " 1") == line


def test_an_order_line_keeps_its_rules(ring, supplier):
    row = {"order": "PO-2", "line": "1", "supplier": supplier, "item": ring, "promised_on": date(2026, 3, 9)}
    assert_refused(OrderLine(**row, quantity=-1), "What is still to come is not below 0.")
    assert_refused(OrderLine(**row, quantity=1, received_quantity=-1), "What has come is not below 0.")


def test_a_receipt_comes_off_what_is_still_to_come_and_once_only(line):
    clerk = User.objects.create(username="clerk")
    bin_ = Place.objects.create(place="A-01")

    def receive(quantity, key):
        return take_in(
            item=line.item,
            order_line=line,
            lot_code="4Q25-A",
            facts=LotFacts(cure="4Q25"),
            quantity=quantity * ONE,
            place_id=bin_.pk,
            by=clerk,
            at=AT,
            today=date(2026, 3, 4),
            key=key,
            over_reason="whole bag",
        )

    first = receive(4, "tap")
    assert receive(4, "tap") == first
    line.refresh_from_db()
    assert (line.quantity, line.received_quantity) == (6 * ONE, 4 * ONE)
    receive(7, "second")
    line.refresh_from_db()
    assert (line.quantity, line.received_quantity) == (0, 11 * ONE)
    assert Balance.objects.get().quantity == 11 * ONE
    assert Lot.objects.get().cure_on == date(2026, 1, 1)
    assert [receipt.quantity for receipt in line.receipts.all()] == [4 * ONE, 7 * ONE]


def test_a_receipt_of_half_a_ring_is_refused_and_nothing_is_stored(line):
    with pytest.raises(StockRefusal, match=r"0\.5 of OR-1 is no whole number"):
        take_in(
            item=line.item,
            order_line=line,
            lot_code="A",
            facts=LotFacts(),
            quantity=ONE // 2,
            place_id=Place.objects.create(place="A-01").pk,
            by=User.objects.create(username="clerk"),
            at=AT,
            today=date(2026, 3, 4),
            key="half",
        )
    assert Posting.objects.count() == 0
    assert Lot.objects.count() == 0
