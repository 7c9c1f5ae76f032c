"""What is still to come: the open order lines, the overdue ones first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Count

from bom.structure.calendar import ShopCalendar
from kits.catalog.amounts import Amount
from kits.catalog.folding import fold
from kits.purchasing.models import OrderLine


@dataclass(frozen=True, slots=True)
class ComingLine:
    """One order line that is still open.

    ``days_late`` are working days since the promise, 0 when it is not past; ``slips`` counts how often it moved.
    """

    pk: int
    order: str
    line: str
    supplier: str
    part_number: str
    what: str
    quantity: Amount
    promised_on: date
    days_late: int
    slips: int


@dataclass(frozen=True, slots=True)
class OrderList:
    """Open order lines by the day they are promised for, which puts the overdue ones first."""

    rows: tuple[ComingLine, ...]
    overdue: int
    orders: int
    suppliers: tuple[str, ...]
    supplier: str
    order: str


def order_list(*, today: date, calendar: ShopCalendar, supplier: str = "", order: str = "") -> OrderList:
    """Open order lines, of one supplier or one order if named, by promised day; one statement."""
    # Counting drops the order that the table has of itself.
    open_lines = (
        OrderLine.objects.open()
        .select_related("supplier", "item")
        .annotate(slips=Count("promise_changes"))
        .order_by("promised_on", "folded_order", "folded")
    )
    everything = [(line, coming_line(line, today, calendar)) for line in open_lines]
    rows = tuple(
        row
        for line, row in everything
        if (not supplier or row.supplier == supplier) and (not order or line.folded_order == fold(order))
    )
    return OrderList(
        rows=rows,
        overdue=sum(row.promised_on < today for row in rows),
        orders=len({row.order for row in rows}),
        suppliers=tuple(sorted({row.supplier for _, row in everything})),
        supplier=supplier,
        order=order,
    )


def coming_line(line: OrderLine, today: date, calendar: ShopCalendar) -> ComingLine:
    """One open order line as it is shown; ``slips`` was counted with it."""
    return ComingLine(
        pk=line.pk,
        order=line.order,
        line=line.line,
        supplier=line.supplier.supplier,
        part_number=line.item.part_number,
        what=line.item.description,
        quantity=Amount.of(line.quantity, line.item.stock_unit),
        promised_on=line.promised_on,
        days_late=calendar.between(line.promised_on, today),
        slips=vars(line)["slips"],
    )
