"""Orders that are drafted, put right, sent and cancelled."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied

from bom.values import ONE
from kits.catalog.errors import Refusal
from kits.catalog.models import Item, Setting
from kits.planning.snapshot.shop import take_snapshot
from kits.purchasing.models import LineTerms, OrderLine, PurchaseOrder, Supplier
from kits.purchasing.orders.actions import cancel_draft, change_draft, draft_orders, send_order
from kits.purchasing.orders.writes import DraftLine, LineEdit
from tests.kits.persons import person_of

AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
TODAY, TWELFTH = date(2026, 3, 4), date(2026, 3, 12)

pytestmark = pytest.mark.django_db(transaction=True)


class Desk:
    """Two suppliers, a ring and a seat, and somebody who orders."""

    def __init__(self):
        self.buyer = person_of("Purchasing", "buyer")
        self.rings = Supplier.objects.create(supplier="Ring House", currency="EUR")
        self.seats = Supplier.objects.create(supplier="Seat House", currency="EUR")
        self.ring = Item.objects.create(part_number="OR-1", description="ring", kind="part", stock_unit="each")
        self.seat = Item.objects.create(part_number="SE-1", description="seat", kind="part", stock_unit="each")
        self.keys = iter(range(100))

    def line(self, supplier=None, item=None, packs=2, **more):
        said = {"pack_size": 25 * ONE, "wanted_on": TWELFTH, "price_per_pack": Decimal("9.50"), **more}
        return DraftLine(supplier or self.rings, item or self.ring, packs, **said)

    def draft(self, *lines, numbers=None, key=None, by=None):
        key = key or f"draft:{next(self.keys)}"
        said = {"numbers": numbers or {}, "reason": "from the shortages", "by": by or self.buyer, "at": AT}
        return draft_orders(lines=lines, today=TODAY, key=key, **said)

    def send(self, order, key=None, sent_on=TODAY):
        key = key or f"send:{next(self.keys)}"
        return send_order(order=order.pk, sent_on=sent_on, by=self.buyer, at=AT, today=TODAY, key=key)

    def edit(self, order, **edits):
        edits = {order.lines.get(number=int(name[1:])).pk: LineEdit(*said) for name, said in edits.items()}
        key = f"edit:{next(self.keys)}"
        return change_draft(order=order.pk, edits=edits, by=self.buyer, at=AT, today=TODAY, key=key)


@pytest.fixture
def desk(db):
    return Desk()


def test_lines_become_one_draft_for_each_supplier_with_numbers_of_their_own(desk):
    OrderLine.objects.create(
        order="PO-7112", line="1", supplier=desk.seats, item=desk.seat, quantity=ONE, promised_on=TWELFTH
    )
    drafted = desk.draft(desk.line(), desk.line(desk.seats, desk.seat), desk.line(item=desk.seat, packs=1))
    assert [(one.number, one.supplier.supplier, one.currency) for one in drafted] == [
        ("PO-7113", "Ring House", "EUR"),
        ("PO-7114", "Seat House", "EUR"),
    ]
    assert list(drafted[0].lines.values_list("number", "item__part_number", "packs")) == [
        (1, "OR-1", 2),
        (2, "SE-1", 1),
    ]


def test_numbers_follow_the_shops_prefix_or_are_typed_and_are_given_once(desk):
    Setting.objects.create(name="order_prefix", value="SL/26-")
    (first,) = desk.draft(desk.line())
    (typed,) = desk.draft(desk.line(), numbers={desk.rings.pk: " SL/26-0042 "})
    cancel_draft(order=typed.pk, reason="not needed", by=desk.buyer, at=AT, key="c")
    (last,) = desk.draft(desk.line())
    assert [one.number for one in (first, typed, last)] == ["SL/26-0001", "SL/26-0042", "SL/26-0043"]
    with pytest.raises(Refusal, match="There is an order sl/26-0042 already"):
        desk.draft(desk.line(), numbers={desk.rings.pk: "sl/26-0042"})
    with pytest.raises(Refusal, match="There is an order x already"):
        desk.draft(desk.line(), desk.line(desk.seats), numbers={desk.rings.pk: "X", desk.seats.pk: "x"})
    assert PurchaseOrder.objects.count() == 3


def test_a_double_tap_drafts_once(desk):
    assert desk.draft(desk.line(), key="tap") == desk.draft(desk.line(), key="tap")
    assert PurchaseOrder.objects.count() == 1


def test_a_draft_is_no_supply_and_an_order_that_was_sent_is(desk):
    (order,) = desk.draft(desk.line())
    assert (take_snapshot(TODAY).orders, OrderLine.objects.count()) == ((), 0)
    desk.send(order, key="tap~1")
    desk.send(order, key="tap~1")
    (line,) = take_snapshot(TODAY).orders
    assert (line.order, line.line, line.quantity, line.promised) == ("PO-0001", "1", 50 * ONE, TWELFTH)
    order.refresh_from_db()
    assert (order.sent_on, order.sent_by) == (TODAY, desk.buyer)


def test_a_draft_is_put_right_and_a_line_without_packs_leaves_it(desk):
    (order,) = desk.draft(desk.line(), desk.line(item=desk.seat))
    desk.edit(order, n1=(3, Decimal("8.75"), date(2026, 3, 13)), n2=(0, None, TWELFTH))
    (line,) = LineTerms.objects.all()
    assert (line.packs, line.price_per_pack, line.wanted_on) == (3, Decimal("8.75"), date(2026, 3, 13))
    with pytest.raises(Refusal, match="No line would be left on order PO-0001"):
        desk.edit(order, n1=(0, None, TWELFTH))
    assert LineTerms.objects.count() == 1


def test_what_was_sent_or_cancelled_is_no_draft_any_more(desk):
    sent, given_up = desk.draft(desk.line(), desk.line(desk.seats))
    desk.send(sent)
    cancel_draft(order=given_up.pk, reason="", by=desk.buyer, at=AT, key="c")
    with pytest.raises(Refusal, match="was sent on 4 Mar 2026: change its lines one by one"):
        desk.edit(sent, n1=(1, None, TWELFTH))
    with pytest.raises(Refusal, match="was sent on"):
        desk.send(sent)
    with pytest.raises(Refusal, match="was cancelled"):
        desk.send(given_up)


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"packs": 0}, "0 packs cannot be ordered"),
        ({"wanted_on": date(2026, 3, 3)}, "has passed"),
        ({"pack_size": ONE // 2, "packs": 3}, "no whole number of pieces"),
    ],
)
def test_what_cannot_be_ordered_is_not_drafted(desk, said, words):
    with pytest.raises(Refusal, match=words):
        desk.draft(desk.line(), desk.line(**said))
    assert PurchaseOrder.objects.count() == 0


def test_one_order_is_in_one_currency(desk):
    with pytest.raises(Refusal, match="one order is in one currency, not in EUR and USD"):
        desk.draft(desk.line(), desk.line(currency="USD"))


def test_nothing_is_sent_on_a_day_to_come(desk):
    (order,) = desk.draft(desk.line())
    with pytest.raises(Refusal, match="has not come yet"):
        desk.send(order, sent_on=TWELFTH)


def test_whoever_does_not_load_orders_drafts_none(desk):
    with pytest.raises(PermissionDenied):
        desk.draft(desk.line(), by=person_of("Planner", "pat"))
