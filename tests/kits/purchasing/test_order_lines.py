"""What becomes of order lines after they were sent: confirmed, changed, split, cancelled, asked about."""

from datetime import date
from decimal import Decimal

import pytest

from bom.values import ONE
from kits.catalog.errors import Refusal
from kits.purchasing.lines.actions import (
    ConfirmedLine,
    cancel_line,
    change_line,
    confirm_lines,
    log_call,
    split_line,
)
from kits.purchasing.models import OrderLine, PromiseChange, PurchaseOrder, SupplierCall
from kits.purchasing.orders.order_sheet import order_sheet
from tests.kits.purchasing.test_order_drafts import AT, TODAY, TWELFTH, Desk

pytestmark = pytest.mark.django_db(transaction=True)
TWENTIETH = date(2026, 3, 20)


class Sent(Desk):
    """An order of two lines that was sent: 4 packs of 25 rings at 9.50, 2 packs of 25 seats at 9.50."""

    def __init__(self):
        super().__init__()
        (self.order,) = self.draft(self.line(packs=4), self.line(item=self.seat))
        self.send(self.order)
        self.rings_line, self.seats_line = OrderLine.objects.order_by("line")
        self.said = {"by": self.buyer, "at": AT}

    def confirm(self, *said, key="confirm~1"):
        lines = [ConfirmedLine(pk, packs, Decimal(price), day) for pk, packs, price, day in said]
        return confirm_lines(order=self.order.pk, lines=lines, source="by mail", today=TODAY, key=key, **self.said)

    def states(self):
        sheet = order_sheet("PO-0001", TODAY)
        return str(sheet.state), [str(line.state) for line in sheet.lines]

    def told(self, line):
        return [(one.kind, one.says, one.reason) for one in line.changes.all()]


@pytest.fixture
def desk(db):
    return Sent()


def test_a_confirmation_takes_packs_price_and_day_and_keeps_what_was_asked_for(desk):
    assert desk.states() == ("sent", ["sent", "sent"])
    for _ in range(2):
        desk.confirm((desk.rings_line.pk, 3, "9.75", TWENTIETH), (desk.seats_line.pk, 2, "9.50", TWELFTH))
    desk.rings_line.refresh_from_db()
    # 3 packs of 25
    assert (desk.rings_line.quantity, desk.rings_line.promised_on) == (75 * ONE, TWENTIETH)
    terms = desk.rings_line.terms
    assert (terms.packs, terms.price_per_pack, terms.first_promised_on) == (3, Decimal("9.75"), TWENTIETH)
    assert desk.states() == ("confirmed", ["confirmed", "confirmed"])
    assert desk.told(desk.rings_line) == [
        (
            "confirmed",
            "packs 4 → 3; price per pack 9.50 → 9.75; asked for 12 Mar 2026, confirmed for 20 Mar 2026",
            "by mail",
        )
    ]
    assert desk.told(desk.seats_line) == [("confirmed", "as ordered, for 12 Mar 2026", "by mail")]
    assert not PromiseChange.objects.exists(), "what was asked for is no promise"
    # 3 x 9.75 + 2 x 9.50 = 29.25 + 19.00
    assert order_sheet("PO-0001", TODAY).total.total == Decimal("48.25")


def test_a_second_confirmation_with_another_day_is_a_slip(desk):
    desk.confirm((desk.rings_line.pk, 4, "9.50", TWELFTH))
    desk.confirm((desk.rings_line.pk, 4, "9.50", TWENTIETH), key="confirmb~1")
    change = PromiseChange.objects.get()
    assert (change.was_on, change.promised_on) == (TWELFTH, TWENTIETH)
    assert desk.rings_line.terms.first_promised_on == TWELFTH
    assert desk.states() == ("sent", ["confirmed", "sent"])


def test_nothing_is_taken_where_one_line_cannot_be(desk):
    with pytest.raises(Refusal, match="has passed"):
        desk.confirm((desk.rings_line.pk, 4, "9.50", TWELFTH), (desk.seats_line.pk, 2, "9.50", date(2026, 3, 2)))
    with pytest.raises(Refusal, match="No line was ticked"):
        desk.confirm(key="confirmb~1")
    assert desk.states()[0] == "sent"
    (other,) = desk.draft(desk.line(desk.seats))
    with pytest.raises(Refusal, match="is no line of order PO-0002 that can be confirmed"):
        confirm_lines(
            order=other.pk,
            lines=[ConfirmedLine(desk.rings_line.pk, 4, None, TWELFTH)],
            source="",
            today=TODAY,
            key="c3~1",
            **desk.said,
        )


def change(desk, line, **said):
    said = {"packs": None, "quantity": None, "price_per_pack": None, "reason": "he has no more", **said}
    return change_line(order_line=line.pk, key="change~1", **desk.said, **said)


def test_a_line_is_changed_for_a_reason_that_is_kept(desk):
    for _ in range(2):
        change(desk, desk.rings_line, packs=6, price_per_pack=Decimal("9"))
    desk.rings_line.refresh_from_db()
    assert desk.rings_line.quantity == 150 * ONE
    assert desk.told(desk.rings_line) == [("changed", "packs 4 → 6; price per pack 9.50 → 9.00", "he has no more")]
    with pytest.raises(Refusal, match="Nothing says why"):
        change_line(
            order_line=desk.rings_line.pk,
            packs=5,
            quantity=None,
            price_per_pack=None,
            reason=" ",
            key="changeb~1",
            **desk.said,
        )


def test_a_line_of_a_list_is_changed_by_its_quantity(desk):
    line = OrderLine.objects.create(
        order="L-1", line="1", supplier=desk.rings, item=desk.ring, quantity=40 * ONE, promised_on=TWELFTH
    )
    change(desk, line, quantity=30 * ONE)
    line.refresh_from_db()
    assert (line.quantity, desk.told(line)[0][1]) == (30 * ONE, "still to come 40 → 30")


def split(desk, quantity, day=TWENTIETH, key="split~1"):
    return split_line(
        order_line=desk.rings_line.pk,
        quantity=quantity,
        promised_on=day,
        reason="two boxes",
        today=TODAY,
        key=key,
        **desk.said,
    )


def test_a_line_is_split_into_two_days_and_the_order_comes_to_the_same(desk):
    desk.confirm((desk.rings_line.pk, 4, "9.50", TWELFTH))
    before = order_sheet("PO-0001", TODAY).total.total
    other = split(desk, 25 * ONE)
    split(desk, 25 * ONE)
    desk.rings_line.refresh_from_db()
    assert (desk.rings_line.quantity, desk.rings_line.promised_on) == (75 * ONE, TWELFTH)
    assert (other.line, other.quantity, other.promised_on) == ("3", 25 * ONE, TWENTIETH)
    assert OrderLine.objects.count() == 3
    assert order_sheet("PO-0001", TODAY).total.total == before
    assert [one.packs for one in PurchaseOrder.objects.get().lines.all()] == [3, 2, 1]
    assert other.terms.first_promised_on == TWELFTH, "what was promised first stays so"


@pytest.mark.parametrize(
    ("quantity", "words"), [(100, "cannot be split off"), (0, "cannot be split off"), (10, "split off whole packs")]
)
def test_what_cannot_be_split_off_is_refused(desk, quantity, words):
    with pytest.raises(Refusal, match=words):
        split(desk, quantity * ONE)


def test_what_is_left_of_a_line_is_cancelled_and_costs_nothing(desk):
    for _ in range(2):
        cancel_line(order_line=desk.rings_line.pk, reason="not made any more", key="cancel~1", **desk.said)
    assert desk.states() == ("sent", ["cancelled", "sent"])
    assert desk.told(desk.rings_line) == [("cancelled", "100 cancelled, promised for 12 Mar 2026", "not made any more")]
    assert order_sheet("PO-0001", TODAY).total.total == Decimal("19.00")
    with pytest.raises(Refusal, match="Nothing of PO-0001 line 1 is to come any more"):
        cancel_line(order_line=desk.rings_line.pk, reason="again", key="cancelb~1", **desk.said)


def test_what_came_already_is_not_cancelled(desk):
    OrderLine.objects.filter(pk=desk.rings_line.pk).update(quantity=50 * ONE, received_quantity=50 * ONE)
    cancel_line(order_line=desk.rings_line.pk, reason="enough", key="cancel~1", **desk.said)
    assert desk.states() == ("part received", ["closed", "sent"])
    # 2 of the 4 packs came
    assert PurchaseOrder.objects.get().lines.get(number=1).packs == 2


def test_a_call_is_kept_with_the_next_day(desk):
    said = {"asked": "Ms Reed", "said": "on Friday", "today": TODAY, **desk.said}
    for _ in range(2):
        log_call(order_line=desk.rings_line.pk, next_call_on=TWELFTH, key="call~1", **said)
    call = SupplierCall.objects.get()
    assert (call.asked, call.said, call.next_call_on, call.by) == ("Ms Reed", "on Friday", TWELFTH, desk.buyer)
    with pytest.raises(Refusal, match="has passed"):
        log_call(order_line=desk.rings_line.pk, next_call_on=date(2026, 3, 3), key="callb~1", **said)
