"""How suppliers keep their word: lines that came on the day first promised, days late, promises moved, refusals."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Count, F, Max, Q
from django.utils import timezone

from bom.structure.calendar import ShopCalendar
from kits.purchasing.models import LineTerms, OrderLine, PromiseChange, Supplier, SupplierQuote, SupplierReturn


@dataclass(frozen=True, slots=True)
class SupplierRow:
    """The record of one supplier. ``came`` counts lines that came in full, ``on_time`` those by their first promise.

    ``days_late`` is the mean of the working days by which the others came late, ``overdue`` open lines past the day
    first promised, ``moved`` how often a promise was moved to a later day.
    """

    supplier: str
    came: int
    on_time: int
    days_late: Decimal | None
    worst: int
    overdue: int
    moved: int
    refused: int
    sent_back: int

    @property
    def on_time_percent(self) -> int | None:
        """How many of a hundred lines came on time."""
        return round(100 * self.on_time / self.came) if self.came else None


def supplier_records(today: date, calendar: ShopCalendar) -> list[SupplierRow]:
    """The record of each supplier from whom something came or is to come; five statements."""
    came: dict[int, list[int]] = defaultdict(list)
    overdue: dict[int, int] = defaultdict(int)
    for line in _lines():
        first = _first_promise(line)
        if line.quantity:
            overdue[line.supplier_id] += first < today
        else:
            came_on = min(
                timezone.localtime(vars(line)["last_at"]).date(), today
            )  # where the day of the shop stands still
            came[line.supplier_id].append(calendar.between(first, came_on) if came_on > first else 0)
    later = Q(promised_on__gt=F("was_on"))
    moved = dict(
        PromiseChange.objects.filter(later).values_list("order_line__supplier").annotate(Count("pk")).order_by()
    )
    refused = dict(SupplierQuote.objects.filter(refused=True).values_list("supplier").annotate(Count("pk")).order_by())
    back = dict(SupplierReturn.objects.values_list("supplier").annotate(Count("pk")).order_by())
    known = came.keys() | overdue.keys() | moved.keys() | refused.keys() | back.keys()
    rows = []
    for supplier in Supplier.objects.filter(pk__in=known):
        days = came.get(supplier.pk, [])
        late = [one for one in days if one]
        rows.append(
            SupplierRow(
                supplier=supplier.supplier,
                came=len(days),
                on_time=len(days) - len(late),
                days_late=(Decimal(sum(late)) / len(late)).quantize(Decimal("0.1")) if late else None,
                worst=max(late, default=0),
                overdue=overdue.get(supplier.pk, 0),
                moved=moved.get(supplier.pk, 0),
                refused=refused.get(supplier.pk, 0),
                sent_back=back.get(supplier.pk, 0),
            )
        )
    return rows


def _lines() -> list[OrderLine]:
    """Lines of which something is to come, and those that came in full, with when the last of it did."""
    return list(
        OrderLine.objects.filter(Q(quantity__gt=0) | Q(received_quantity__gt=0, receipts__quantity__gt=0))
        .select_related("terms")
        .annotate(last_at=Max("receipts__posting__at", filter=Q(receipts__quantity__gt=0)))
        .prefetch_related("promise_changes")
    )


def _first_promise(line: OrderLine) -> date:
    """The day that was promised first; where nobody confirmed one, that which was asked for or listed."""
    terms: LineTerms | None = getattr(line, "terms", None)
    if terms is not None and terms.first_promised_on:
        return terms.first_promised_on
    changes = list(line.promise_changes.all())
    return changes[0].was_on if changes else line.promised_on
