"""What is still to come: the open order lines, the overdue ones first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import groupby

from bom.calendar import ShopCalendar
from kits.catalog.amounts import Amount
from kits.catalog.folding import fold
from kits.purchasing.models import OrderLine


@dataclass(frozen=True, slots=True)
class ComingLine:
    """One order line that is still open; ``days_late`` are working days since the promise, 0 when it is not past."""

    order: str
    line: str
    supplier: str
    part_number: str
    what: str
    quantity: Amount
    promised_on: date
    days_late: int


@dataclass(frozen=True, slots=True)
class ComingDay:
    """Everything promised for one day."""

    promised_on: date
    lines: tuple[ComingLine, ...]


@dataclass(frozen=True, slots=True)
class OrderList:
    """Open order lines: overdue, and by the day they are promised for."""

    overdue: tuple[ComingLine, ...]
    days: tuple[ComingDay, ...]
    lines: int
    orders: int
    suppliers: tuple[str, ...]
    supplier: str
    order: str


def order_list(*, today: date, calendar: ShopCalendar, supplier: str = "", order: str = "") -> OrderList:
    """Open order lines, of one supplier or one order if named, by promised day; one statement."""
    open_lines = OrderLine.objects.open().select_related("supplier", "item")
    everything = [coming_line(line, today, calendar) for line in open_lines]
    lines = [
        line
        for line in everything
        if (not supplier or line.supplier == supplier) and (not order or fold(line.order) == fold(order))
    ]
    to_come = [line for line in lines if line.promised_on >= today]
    return OrderList(
        overdue=tuple(line for line in lines if line.promised_on < today),
        days=tuple(ComingDay(on, tuple(of_day)) for on, of_day in groupby(to_come, key=lambda line: line.promised_on)),
        lines=len(lines),
        orders=len({line.order for line in lines}),
        suppliers=tuple(sorted({line.supplier for line in everything})),
        supplier=supplier,
        order=order,
    )


def coming_line(line: OrderLine, today: date, calendar: ShopCalendar) -> ComingLine:
    """One open order line as it is shown."""
    return ComingLine(
        order=line.order,
        line=line.line,
        supplier=line.supplier.supplier,
        part_number=line.item.part_number,
        what=line.item.description,
        quantity=Amount.of(line.quantity, line.item.stock_unit),
        promised_on=line.promised_on,
        days_late=calendar.between(line.promised_on, today),
    )
