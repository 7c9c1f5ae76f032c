"""What is to go back to suppliers, what has gone, and the credits expected and received."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from kits.catalog.amounts import Amount
from kits.people.names import name_of
from kits.purchasing.models import SupplierReturn
from kits.purchasing.return_models import Wrong


@dataclass(frozen=True, slots=True)
class SupplierReturnRow:
    """One return; ``state`` says how far it has come."""

    pk: int
    supplier: str
    order: str
    line: str
    line_id: int | None
    part_number: str
    lot_code: str
    quantity: Amount
    wrong: str
    note: str
    replaced: bool
    credit_expected: Decimal | None
    currency: str
    by: str
    at: datetime
    gone_on: date | None
    credit_received: Decimal | None
    credited_on: date | None

    @property
    def state(self) -> str:
        """How far it has come, in words."""
        if self.credited_on:
            return "credited"
        if not self.gone_on:
            return "to go back"
        return "gone, credit expected" if self.credit_expected is not None else "gone"

    @property
    def is_settled(self) -> bool:
        """Whether nobody has to do anything about it any more."""
        return self.state in ("credited", "gone")


def return_list(*, all_of_them: bool = False) -> list[SupplierReturnRow]:
    """Returns that are not settled, or all, the latest first; one statement."""
    found = SupplierReturn.objects.select_related("supplier", "order_line", "item", "by")
    rows = [_row(one) for one in found]
    return [row for row in rows if all_of_them or not row.is_settled]


def _row(one: SupplierReturn) -> SupplierReturnRow:
    line = one.order_line
    return SupplierReturnRow(
        pk=one.pk,
        supplier=one.supplier.supplier,
        order=line.order if line else "",
        line=line.line if line else "",
        line_id=line.pk if line else None,
        part_number=one.item.part_number,
        lot_code=one.lot_code,
        quantity=Amount.of(one.quantity, one.item.stock_unit),
        wrong=Wrong(one.wrong).value,
        note=one.note,
        replaced=one.replaced,
        credit_expected=one.credit_expected,
        currency=one.currency,
        by=name_of(one.by),
        at=one.at,
        gone_on=one.gone_on,
        credit_received=one.credit_received,
        credited_on=one.credited_on,
    )
