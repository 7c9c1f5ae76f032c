"""Stores of a receipt against an order, inside a transaction only."""

from __future__ import annotations

from django.db.models import F, Value

from kits.purchasing.models import OrderLine, Receipt
from kits.stock.models import Posting


def take_off_order(line: OrderLine, posting: Posting, quantity: int) -> Receipt:
    """Take what has come off what is still to come, the line locked by the caller, and keep how much that was."""
    line.refresh_from_db(fields=["quantity"])
    off = min(quantity, line.quantity)
    OrderLine.objects.filter(pk=line.pk).update(
        quantity=F("quantity") - Value(off), received_quantity=F("received_quantity") + Value(quantity)
    )
    return Receipt.objects.create(order_line=line, posting=posting, quantity=quantity, off_open=off)


def give_back_to_orders(posting: Posting, reversal: Posting) -> None:
    """Open the order lines again by what a posting that is taken back had taken off them."""
    for receipt in Receipt.objects.filter(posting=posting).order_by("order_line_id"):
        OrderLine.objects.filter(pk=receipt.order_line_id).update(
            quantity=F("quantity") + Value(receipt.off_open),
            received_quantity=F("received_quantity") - Value(receipt.quantity),
        )
        Receipt.objects.create(
            order_line_id=receipt.order_line_id,
            posting=reversal,
            quantity=-receipt.quantity,
            off_open=-receipt.off_open,
        )
