"""What goes back to suppliers, and how they keep their word; every figure worked out by hand."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from bom.structure.calendar import ShopCalendar
from bom.values import ONE
from kits.catalog.errors import Refusal
from kits.purchasing.actions import change_promise
from kits.purchasing.lines.actions import ConfirmedLine, confirm_lines
from kits.purchasing.models import OrderLine, SupplierReturn
from kits.purchasing.orders.order_sheet import order_sheet
from kits.purchasing.returns.actions import GoesBack, note_credit, note_gone, refuse_at_door, send_back
from kits.purchasing.returns.return_list import return_list
from kits.purchasing.supplier_record import supplier_records
from kits.stock.errors import StockRefusal
from kits.stock.ledger import OnShelf
from kits.stock.models import Balance, Place
from kits.stock.queries import ledger_differences
from kits.stock.writes import LotFacts
from tests.kits.purchasing.test_order_lines import Sent
from tests.kits.stock.deliveries import take_in

pytestmark = pytest.mark.django_db(transaction=True)
TODAY, FRIDAY = date(2026, 3, 4), date(2026, 3, 6)


class Door(Sent):
    """The sent order, of which things come in and go back."""

    def __init__(self):
        super().__init__()
        self.bin = Place.objects.create(place="A-1")

    def come(self, quantity, on=TODAY, line=None, **more):
        at = datetime(on.year, on.month, on.day, 9, tzinfo=UTC)
        line = line or self.rings_line
        line.refresh_from_db()
        key = f"come:{next(self.keys)}"
        said = {"lot_code": f"L-{key[5:]}", "facts": LotFacts(), "place_id": self.bin.pk, "today": on, **more}
        return take_in(item=line.item, order_line=line, quantity=quantity * ONE, by=self.buyer, at=at, key=key, **said)

    def refuse(self, quantity, key="back", **said):
        said = {"wrong": "damaged", "note": "", "replaced": False, "credit_expected": None, **said}
        back = GoesBack(quantity * ONE, **said)
        return refuse_at_door(order_line=self.rings_line.pk, back=back, today=TODAY, key=key, **self.said)

    def left(self):
        self.rings_line.refresh_from_db()
        return self.rings_line.quantity // ONE, self.rings_line.received_quantity // ONE


@pytest.fixture
def door(db):
    return Door()


def test_what_is_refused_and_not_replaced_is_not_waited_for(door):
    for _ in range(2):
        kept = door.refuse(25, note="bags torn", credit_expected=Decimal("9.50"))
    assert (door.left(), Balance.objects.count()) == ((75, 0), 0)
    assert SupplierReturn.objects.get() == kept
    (row,) = return_list()
    assert (row.state, row.wrong, row.order, row.quantity.text) == ("to go back", "damaged", "PO-0001", "25")
    assert door.told(door.rings_line) == [("sent back", "25 sent back, not to be replaced", "damaged: bags torn")]


def test_the_order_waits_for_what_is_sent_again_and_not_for_what_was_too_many(door):
    door.refuse(25, replaced=True)
    door.refuse(10, key="second", wrong="too many")
    assert door.left() == (100, 0)


def test_something_else_has_to_be_written_down(door):
    with pytest.raises(Refusal, match="Nothing says what is wrong"):
        door.refuse(5, wrong="other", note=" ")
    with pytest.raises(Refusal, match="cannot go back"):
        door.refuse(0)


def test_a_return_leaves_and_is_credited_once(door):
    kept = door.refuse(25, credit_expected=Decimal("9.50"))
    facts = {"supplier_return": kept.pk, "today": TODAY, **door.said}
    with pytest.raises(Refusal, match="has not come yet"):
        note_gone(gone_on=FRIDAY, key="g0", **facts)
    note_gone(gone_on=TODAY, key="g1", **facts)
    assert return_list()[0].state == "gone, credit expected"
    for _ in range(2):
        note_credit(credit=Decimal("9"), credited_on=TODAY, key="c~1", **facts)
    with pytest.raises(Refusal, match="came on 4 Mar 2026 already"):
        note_credit(credit=Decimal("9.50"), credited_on=TODAY, key="d~1", **facts)
    assert return_list() == []
    assert return_list(all_of_them=True)[0].credit_received == 9


def test_a_lot_in_quarantine_goes_back_out_of_the_books_and_its_order_waits_again(door):
    door.come(40, condition="quarantine")
    assert door.left() == (60, 40)
    held = Balance.objects.get()
    source = OnShelf(held.lot_id, held.place_id, "quarantine")
    facts = {"gone_on": TODAY, "today": TODAY, **door.said}
    back = GoesBack(40 * ONE, "too old", "3Q22", replaced=True, credit_expected=Decimal("15.20"))
    for _ in range(2):
        kept = send_back(source=source, back=back, key="back", **facts)
    held.refresh_from_db()
    assert (held.quantity, door.left(), ledger_differences()) == (0, (100, 40), [])
    assert (kept.lot_code, kept.gone_on, kept.posting.disposal.way) == (held.lot.lot, TODAY, "sent_back")
    assert str(order_sheet("PO-0001", TODAY).state) == "part received"
    with pytest.raises(StockRefusal):
        send_back(source=source, back=back, key="more", **facts)


def test_only_what_is_in_quarantine_and_came_on_an_order_goes_back(door):
    door.come(40)
    held = Balance.objects.get()
    back = GoesBack(ONE, "damaged", "", replaced=False)
    with pytest.raises(StockRefusal, match="Only what is in quarantine goes back"):
        send_back(
            source=OnShelf(held.lot_id, held.place_id), back=back, gone_on=TODAY, today=TODAY, key="b", **door.said
        )


def test_a_supplier_is_on_time_by_the_day_that_he_promised_first(door):
    """Rings: confirmed for Friday 6 March, moved to the 12th, the last came on Tuesday the 10th: 2 working days late.

    Seats: asked for on the 12th, never confirmed, came on the 12th: on time. One more line is open past its day.
    """
    lines = [ConfirmedLine(door.rings_line.pk, 4, Decimal("9.50"), FRIDAY)]
    confirm_lines(order=door.order.pk, lines=lines, source="", today=TODAY, key="c~1", **door.said)
    change_promise(
        order_line=door.rings_line.pk, promised_on=date(2026, 3, 12), reason="ill", today=TODAY, key="p", **door.said
    )
    door.come(60, on=date(2026, 3, 6))
    door.come(40, on=date(2026, 3, 10))
    door.come(50, on=date(2026, 3, 12), line=door.seats_line)
    OrderLine.objects.create(
        order="X", line="1", supplier=door.rings, item=door.ring, quantity=ONE, promised_on=date(2026, 3, 2)
    )
    (row,) = supplier_records(date(2026, 3, 16), ShopCalendar())
    assert (row.came, row.on_time, row.on_time_percent) == (2, 1, 50)
    assert (row.days_late, row.worst, row.overdue, row.moved) == (Decimal("2.0"), 2, 1, 1)
