"""What is done with items that are no longer made: mark one, and take the mark back."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.purchasing.models import EndOfMaking


def mark_no_longer_made(
    *, item: Item, from_on: date, last_order_on: date | None, source: str, note: str, by: User, at: datetime, key: str
) -> None:
    """Say that an item is no longer made; what was said before gives way to it and stays in the history."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return
        standing = EndOfMaking.objects.filter(item=item, taken_back_at__isnull=True)
        standing.update(taken_back_why="stated anew", taken_back_by=by, taken_back_at=at)
        EndOfMaking.objects.create(
            key=key, item=item, from_on=from_on, last_order_on=last_order_on, source=source, note=note, by=by, at=at
        )


def take_mark_back(*, end: EndOfMaking, why: str, by: User, at: datetime, key: str) -> None:
    """Say that an item is made after all, with the reason."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return
        standing = EndOfMaking.objects.filter(pk=end.pk, taken_back_at__isnull=True)
        if not standing.update(taken_back_why=why, taken_back_by=by, taken_back_at=at):
            raise Refusal(f"The mark of {end.item} was taken back already: look at it again.")
