"""The state of an order and of each of its lines in plain words: worked out from what happened, stored nowhere."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

from kits.purchasing.models import LineTerms, OrderLine, PurchaseOrder


class OrderState(StrEnum):
    """How far an order has come, or one line of it."""

    DRAFTED = "drafted"
    SENT = "sent"
    CONFIRMED = "confirmed"
    PART_RECEIVED = "part received"
    CLOSED = "closed"
    CANCELLED = "cancelled"


OVER = frozenset({OrderState.CLOSED, OrderState.CANCELLED})
"""States in which nothing is to come any more."""


def line_state(line: OrderLine | None, terms: LineTerms | None) -> OrderState:
    """The state of one line; one that came in by a list, and has no terms, is as good as confirmed."""
    if line is None:
        return OrderState.DRAFTED
    if not line.quantity:
        return OrderState.CLOSED if line.received_quantity else OrderState.CANCELLED
    if line.received_quantity:
        return OrderState.PART_RECEIVED
    return OrderState.CONFIRMED if terms is None or terms.confirmed_on else OrderState.SENT


def order_state(order: PurchaseOrder | None, lines: Iterable[OrderState]) -> OrderState:
    """The state of an order by those of its lines; lines that are cancelled say nothing about the others."""
    if order is not None and order.cancelled_at is not None:
        return OrderState.CANCELLED
    if order is not None and order.sent_on is None:
        return OrderState.DRAFTED
    states = set(lines) - {OrderState.CANCELLED}
    if not states:
        return OrderState.CANCELLED
    if states == {OrderState.CLOSED}:
        return OrderState.CLOSED
    if states & {OrderState.PART_RECEIVED, OrderState.CLOSED}:
        return OrderState.PART_RECEIVED
    return OrderState.CONFIRMED if states == {OrderState.CONFIRMED} else OrderState.SENT
