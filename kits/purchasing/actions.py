"""What purchasing does: order, and keep promises. Receiving and replies have actions of their own."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.errors import Refusal
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.purchasing.models import OrderEntry, OrderLine, PromiseChange, Supplier
from kits.purchasing.writes import NewLine, add_order_lines, move_promise, note_ordered


def place_order(
    *,
    order: str,
    supplier: Supplier,
    lines: Sequence[NewLine],
    reason: str,
    by: User,
    at: datetime,
    today: date,
    key: str,
) -> tuple[OrderLine, ...]:
    """Order lines of a supplier under one number, and return them; a second request of the same key changes nothing."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        earlier = OrderEntry.objects.filter(key=key).first()
        if earlier is not None:
            return tuple(earlier.lines.all())
        if not lines:
            raise Refusal("No line was ticked, so nothing was ordered: tick what to order.")
        entry = OrderEntry.objects.create(key=key, by=by, at=at, reason=reason)
        placed = add_order_lines(order=order, supplier=supplier, lines=lines, today=today, entry=entry)
        note_ordered(lines, placed)
        return placed


def change_promise(
    *, order_line: int, promised_on: date, reason: str, by: User, at: datetime, today: date, key: str
) -> PromiseChange:
    """Move the promise of a line, with its reason, and keep what was promised before."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        earlier = PromiseChange.objects.filter(key=key).first()
        if earlier is not None:
            return earlier
        line = OrderLine.objects.select_for_update().get(pk=order_line)
        return move_promise(line=line, promised_on=promised_on, reason=reason, by=by, at=at, today=today, key=key)
