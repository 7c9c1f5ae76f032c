"""What was last said about each open order line, and whom to call again by when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from kits.people.names import name_of
from kits.purchasing.models import OrderLine, SupplierCall


@dataclass(frozen=True, slots=True)
class LastCall:
    """The last call about an open line; it is due when its next day has come."""

    line_id: int
    order: str
    line: str
    supplier: str
    part_number: str
    promised_on: date
    asked: str
    said: str
    called_on: date
    by: str
    next_call_on: date | None


def last_calls() -> dict[int, LastCall]:
    """The last call about each line of which something is to come, by line; one statement."""
    calls = (
        SupplierCall.objects.filter(order_line__in=OrderLine.objects.open())
        .select_related("order_line__supplier", "order_line__item", "by")
        .order_by("pk")
    )
    return {call.order_line_id: _last(call) for call in calls}


def calls_due(today: date) -> list[LastCall]:
    """The calls whose next day has come, the earliest first; one statement."""
    due = (call for call in last_calls().values() if call.next_call_on is not None and call.next_call_on <= today)
    return sorted(due, key=lambda call: (call.next_call_on or today, call.order, call.line))


def count_unconfirmed() -> int:
    """How many open lines of orders that were sent nobody has confirmed; one statement."""
    return OrderLine.objects.open().filter(terms__isnull=False, terms__confirmed_on=None, received_quantity=0).count()


def _last(call: SupplierCall) -> LastCall:
    line = call.order_line
    return LastCall(
        line_id=line.pk,
        order=line.order,
        line=line.line,
        supplier=line.supplier.supplier,
        part_number=line.item.part_number,
        promised_on=line.promised_on,
        asked=call.asked,
        said=call.said,
        called_on=call.at.date(),
        by=name_of(call.by),
        next_call_on=call.next_call_on,
    )
