"""What people do in the storeroom: count, receive, move."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from kits.catalog.fields import quantity_text
from kits.catalog.models import Item
from kits.catalog.revisions import mark_shop
from kits.people.models import User
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Entry, OnShelf, post, posted, reverse
from kits.stock.models import Posting
from kits.stock.words import Condition, PostingKind
from kits.stock.writes import LotFacts, ShelfCount, post_shelf_counts, receive


def count_shelf(*, account: OnShelf, counted: int, reason: str, by: User, at: datetime, key: str) -> Posting | None:
    """Bring one shelf account to what was counted and return the posting, None where the count agrees."""
    if counted < 0:
        raise StockRefusal(f"A count of {quantity_text(counted)} is below 0: count what lies there.")
    with transaction.atomic(durable=True):
        mark_shop()
        for kind in (PostingKind.OPENING, PostingKind.COUNT):
            if (earlier := posted(f"{key}:{kind.value}")) is not None:
                return earlier
        postings = post_shelf_counts([ShelfCount(account, counted)], by=by, at=at, key=key, reason=reason)
        return postings[0] if postings else None


def receive_lot(
    *,
    item: Item,
    lot_code: str,
    facts: LotFacts,
    quantity: int,
    place_id: int,
    by: User,
    at: datetime,
    today: date,
    key: str,
    condition: str = Condition.USABLE.value,
    reason: str = "",
) -> Posting:
    """Put received pieces on the shelf, under a new lot or a known one, and return the posting."""
    with transaction.atomic(durable=True):
        mark_shop()
        return receive(
            item=item,
            lot_code=lot_code,
            facts=facts,
            quantity=quantity,
            place_id=place_id,
            by=by,
            at=at,
            today=today,
            key=key,
            condition=condition,
            reason=reason,
        )


def move_stock(
    *, source: OnShelf, target: OnShelf, quantity: int, reason: str, by: User, at: datetime, key: str
) -> Posting:
    """Move pieces of a lot to another place, condition or packet and return the posting."""
    if quantity <= 0 or source == target or source.lot_id != target.lot_id:
        raise StockRefusal(f"A move of {quantity_text(quantity)} goes nowhere: name more than 0 and another place.")
    away = target.condition == Condition.QUARANTINE and source.condition != Condition.QUARANTINE
    with transaction.atomic(durable=True):
        mark_shop()
        return post(
            entries=[Entry(source, -quantity), Entry(target, quantity)],
            kind=PostingKind.TO_QUARANTINE if away else PostingKind.MOVE,
            by=by,
            at=at,
            key=key,
            reason=reason,
        )


def scrap_stock(*, source: OnShelf, quantity: int, reason: str, by: User, at: datetime, key: str) -> Posting:
    """Take pieces of a lot out of the storeroom for good and return the posting."""
    if quantity <= 0 or not reason.strip():
        raise StockRefusal(f"Scrapping {quantity_text(quantity)} needs more than 0 and a reason.")
    with transaction.atomic(durable=True):
        mark_shop()
        return post(entries=[Entry(source, -quantity)], kind=PostingKind.SCRAP, by=by, at=at, key=key, reason=reason)


def reverse_posting(*, posting: Posting, reason: str, by: User, at: datetime, key: str) -> Posting:
    """Take a posting back and return the reversal."""
    with transaction.atomic(durable=True):
        mark_shop()
        return reverse(posting=posting, by=by, at=at, key=key, reason=reason)
