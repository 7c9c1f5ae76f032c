"""One order as it stands: its lines with packs, prices and promises, what it comes to, and how far it has come."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Exists, OuterRef, Q, QuerySet

from bom.buying.charges import line_value
from kits.catalog.amounts import Amount, price_text
from kits.catalog.days.words import least_life
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.catalog.rings.sizes import in_both
from kits.people.names import name_of
from kits.purchasing.models import LineTerms, OrderLine, PurchaseOrder, Supplier
from kits.purchasing.orders.states import OVER, OrderState, line_state, order_state
from kits.purchasing.orders.totals import OrderTotal, total_of


@dataclass(frozen=True, slots=True)
class OrderSheetLine:
    """One line of an order. A line of a list has no terms: neither packs nor price nor a day that was asked for.

    ``promised_on`` is None while the order is a draft; ``is_late`` says that it has passed.
    """

    terms_id: int | None
    line_id: int | None
    number: str
    item: Item
    packs: int | None
    pack_size: Amount | None
    quantity: Amount
    still: Amount
    received: Amount
    price_per_pack: Decimal | None
    value: Decimal | None
    supplier_part_number: str
    what_for: str
    wanted_on: date | None
    promised_on: date | None
    first_promised_on: date | None
    is_late: bool
    state: OrderState

    @property
    def is_over(self) -> bool:
        """Whether nothing of it is to come any more."""
        return self.state in OVER

    @property
    def price_says(self) -> str:
        """The price of a pack as it is shown."""
        return "" if self.price_per_pack is None else price_text(self.price_per_pack)

    @property
    def says_what(self) -> str:
        """What the part is, as its supplier has to know it."""
        item = self.item
        return ", ".join(filter(None, (item.description, in_both(item.size), item.material, item.hardness)))

    @property
    def asks(self) -> tuple[str, ...]:
        """What has to come with it."""
        item = self.item
        least = least_life(item.min_life_at_receipt)
        life = f"at least {least} of its life left when it comes" if least else ""
        papers = "with its certificate" if item.certificate_needed else ""
        return tuple(filter(None, (papers, life)))


@dataclass(frozen=True, slots=True)
class OrderSheet:
    """An order with its lines; ``order`` is None where it only ever came in by a list."""

    order: PurchaseOrder | None
    number: str
    supplier: Supplier
    currency: str
    state: OrderState
    lines: tuple[OrderSheetLine, ...]
    total: OrderTotal | None
    drafted_by: str
    drafted_at: datetime | None
    from_what: str

    @property
    def is_draft(self) -> bool:
        """Whether it was neither sent nor cancelled."""
        return self.state == OrderState.DRAFTED

    @property
    def to_confirm(self) -> int:
        """How many lines the supplier has not confirmed."""
        return sum(line.state == OrderState.SENT for line in self.lines)

    @property
    def next_on(self) -> date | None:
        """The first day on which something of it is promised, None where nothing is to come."""
        return min((line.promised_on for line in self.lines if line.still and line.promised_on), default=None)

    @property
    def late(self) -> int:
        """How many open lines are past their promise."""
        return sum(line.is_late for line in self.lines)

    @property
    def shows(self) -> tuple[object, ...]:
        """What stands before whoever decides about it."""
        lines = ((line.terms_id, line.packs, line.still.millionths, str(line.promised_on)) for line in self.lines)
        return self.number, str(self.state), tuple(lines)


def order_sheet(number: str, today: date) -> OrderSheet | None:
    """The order of a number, however it is spelled, or None where there is none; three statements."""
    named = fold(number)
    found = _sheets(PurchaseOrder.objects.filter(folded=named), OrderLine.objects.filter(folded_order=named), today)
    return found[0] if found else None


def order_sheets(today: date, *, all_of_them: bool = False) -> tuple[OrderSheet, ...]:
    """The orders of which something is still to come, drafts included, or all of them, by number; three statements."""
    if all_of_them:
        return _sheets(PurchaseOrder.objects.all(), OrderLine.objects.all(), today)
    to_come = OrderLine.objects.open()
    orders = PurchaseOrder.objects.filter(
        Q(sent_on=None, cancelled_at=None) | Exists(to_come.filter(terms__order=OuterRef("pk")))
    )
    return _sheets(orders, OrderLine.objects.filter(folded_order__in=to_come.values("folded_order")), today)


def _sheets(orders: QuerySet[PurchaseOrder], loose: QuerySet[OrderLine], today: date) -> tuple[OrderSheet, ...]:
    """The sheets of some orders, and of the orders of some lines that have no terms."""
    heads = {order.folded: order for order in orders.select_related("supplier", "entry__by", "sent_by", "cancelled_by")}
    terms: dict[int, list[LineTerms]] = defaultdict(list)
    for one in LineTerms.objects.filter(order__in=orders).select_related("item", "order_line").order_by("number"):
        terms[one.order_id].append(one)
    listed: dict[str, list[OrderLine]] = defaultdict(list)
    for line in loose.filter(terms=None).select_related("item", "supplier", "entry__by"):
        listed[line.folded_order].append(line)
    return tuple(
        _sheet(heads.get(folded), terms[heads[folded].pk] if folded in heads else [], listed[folded], today)
        for folded in sorted(heads.keys() | listed.keys())
    )


def _sheet(
    order: PurchaseOrder | None, terms: Sequence[LineTerms], listed: Sequence[OrderLine], today: date
) -> OrderSheet:
    by_number = sorted(listed, key=lambda line: (len(line.folded), line.folded))
    lines = (
        *(_line(one.item, one.order_line, one, order, today) for one in terms),
        *(_line(line.item, line, None, order, today) for line in by_number),
    )
    entry = order.entry if order else by_number[0].entry
    supplier = order.supplier if order else by_number[0].supplier
    return OrderSheet(
        order=order,
        number=order.number if order else by_number[0].order,
        supplier=supplier,
        currency=order.currency if order else supplier.currency,
        state=order_state(order, (line.state for line in lines)),
        lines=lines,
        total=total_of(supplier, ((one.packs, one.price_per_pack, one.item.certificate_needed) for one in lines))
        if order
        else None,
        drafted_by=name_of(entry.by) if entry else "",
        drafted_at=entry.at if entry else None,
        from_what=entry.reason if entry else "",
    )


def _line(
    item: Item, line: OrderLine | None, terms: LineTerms | None, order: PurchaseOrder | None, today: date
) -> OrderSheetLine:
    unit = item.stock_unit
    still, received = (line.quantity, line.received_quantity) if line else (0, 0)
    ordered = terms.quantity if terms else still + received
    state = line_state(line, terms)
    if order is not None and order.cancelled_at is not None:
        state = OrderState.CANCELLED
    price = None if terms is None or terms.price_per_pack is None else _plain(terms.price_per_pack)
    return OrderSheetLine(
        terms_id=terms.pk if terms else None,
        line_id=line.pk if line else None,
        number=str(terms.number) if terms else line.line if line else "",
        item=item,
        packs=terms.packs if terms else None,
        pack_size=Amount.of(terms.pack_size, unit) if terms else None,
        quantity=Amount.of(ordered, unit),
        still=Amount.of(still, unit),
        received=Amount.of(received, unit),
        price_per_pack=price,
        value=line_value(terms.packs, price) if terms else None,
        supplier_part_number=terms.supplier_part_number if terms else "",
        what_for=terms.what_for if terms else "",
        wanted_on=terms.wanted_on if terms else None,
        promised_on=line.promised_on if line else None,
        first_promised_on=terms.first_promised_on if terms else None,
        is_late=line is not None and line.quantity > 0 and line.promised_on < today,
        state=state,
    )


def _plain(price: Decimal) -> Decimal:
    return Decimal(f"{price.normalize():f}")
