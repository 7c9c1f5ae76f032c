"""What purchasing does about promises. Orders, receiving and replies have actions of their own."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.purchasing.models import OrderLine, PromiseChange
from kits.purchasing.writes import move_promise


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
