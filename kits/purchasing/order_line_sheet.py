"""One order line: what is still to come, who ordered it, how its promise moved, and what has come."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from bom.structure.calendar import ShopCalendar
from kits.catalog.amounts import Amount
from kits.people.names import name_of
from kits.purchasing.models import LineTerms, OrderLine, OrderLineChange, PromiseChange, SupplierCall
from kits.purchasing.orders.states import line_state


@dataclass(frozen=True, slots=True)
class Slip:
    """One move of a promise; ``days`` are working days, below nothing when it came forward."""

    was_on: date
    promised_on: date
    days: int
    reason: str
    by: str
    at: datetime

    @property
    def sooner(self) -> int:
        """By how many working days it came forward."""
        return -self.days


@dataclass(frozen=True, slots=True)
class CameIn:
    """One receipt."""

    at: datetime
    quantity: Amount
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class OrderLineSheet:
    """Everything there is to know of one order line."""

    pk: int
    order: str
    line: str
    supplier: str
    part_number: str
    what: str
    quantity: Amount
    received: Amount
    promised_on: date
    days_late: int
    ordered_by: str
    ordered_at: datetime | None
    from_what: str
    slips: tuple[Slip, ...]
    slipped_days: int
    came_in: tuple[CameIn, ...]
    state: str
    packs: int | None
    pack_size: Amount | None
    price_per_pack: Decimal | None
    wanted_on: date | None
    first_promised_on: date | None
    changes: tuple[OrderLineChange, ...]
    calls: tuple[SupplierCall, ...]

    @property
    def shows(self) -> tuple[object, ...]:
        """What stands before whoever changes it."""
        return self.pk, self.quantity.millionths, str(self.promised_on), self.packs, str(self.price_per_pack)


def order_line_sheet(number: int, today: date, calendar: ShopCalendar) -> OrderLineSheet | None:
    """The sheet of an order line, or None where there is none; six statements."""
    line = OrderLine.objects.select_related("supplier", "item", "entry__by").filter(pk=number).first()
    if line is None:
        return None
    terms = LineTerms.objects.filter(order_line=line).first()
    slips = tuple(_slip(change, calendar) for change in line.promise_changes.select_related("by"))
    unit = line.item.stock_unit
    return OrderLineSheet(
        pk=line.pk,
        order=line.order,
        line=line.line,
        supplier=line.supplier.supplier,
        part_number=line.item.part_number,
        what=line.item.description,
        quantity=Amount.of(line.quantity, unit),
        received=Amount.of(line.received_quantity, unit),
        promised_on=line.promised_on,
        days_late=calendar.between(line.promised_on, today) if line.quantity else 0,
        ordered_by=name_of(line.entry.by) if line.entry else "",
        ordered_at=line.entry.at if line.entry else None,
        from_what=line.entry.reason if line.entry else "",
        slips=slips,
        slipped_days=sum(slip.days for slip in slips),
        came_in=tuple(
            CameIn(
                at=receipt.posting.at,
                quantity=Amount.of(receipt.quantity, unit),
                by=name_of(receipt.posting.by),
                reason=receipt.posting.reason,
            )
            for receipt in line.receipts.select_related("posting__by")
        ),
        state=str(line_state(line, terms)),
        packs=terms.packs if terms else None,
        pack_size=Amount.of(terms.pack_size, unit) if terms else None,
        price_per_pack=terms.price_per_pack if terms else None,
        wanted_on=terms.wanted_on if terms else None,
        first_promised_on=terms.first_promised_on if terms else None,
        changes=tuple(line.changes.select_related("by")),
        calls=tuple(line.calls.select_related("by")),
    )


def _slip(change: PromiseChange, calendar: ShopCalendar) -> Slip:
    later = change.promised_on > change.was_on
    first, last = sorted((change.was_on, change.promised_on))
    days = calendar.between(first, last)
    days = days if later else -days
    return Slip(change.was_on, change.promised_on, days, change.reason, name_of(change.by), change.at)
