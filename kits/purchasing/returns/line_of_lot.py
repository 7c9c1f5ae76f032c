"""On which order a lot came."""

from __future__ import annotations

from kits.purchasing.models import OrderLine, Receipt
from kits.stock.models import Lot


def line_of_lot(lot: Lot) -> OrderLine | None:
    """The order line on which the lot came last, or None; one statement."""
    receipt = (
        Receipt.objects.filter(posting__movements__balance__lot=lot, quantity__gt=0)
        .select_related("order_line__supplier", "order_line__item")
        .order_by("-pk")
        .first()
    )
    return receipt.order_line if receipt else None
