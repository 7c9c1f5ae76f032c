"""What is done at the door: take a delivery in, lot by lot, and take a posting back with what it did to its order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import Item
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.purchasing.models import OrderLine
from kits.purchasing.receiving.checks import DeliveredLot, over_delivery, refuse_lot, refuse_parts_of_pieces
from kits.purchasing.receiving.life import AskedLife
from kits.purchasing.receiving.writes import give_back_to_orders, take_off_order
from kits.stock.errors import StockRefusal
from kits.stock.ledger import posted, reverse
from kits.stock.models import Hold, Posting
from kits.stock.queries import lots_moved
from kits.stock.words import Condition, Decides
from kits.stock.writes import receive


def receive_delivery(
    *,
    item: Item,
    order_line: OrderLine | None,
    lots: Sequence[DeliveredLot],
    asked: Mapping[int, AskedLife],
    reason: str,
    short_life_reason: str,
    over_reason: str,
    by: User,
    at: datetime,
    today: date,
    key: str,
) -> list[Posting]:
    """Put the lots of one delivery on the shelf, take them off their order line, and return the postings.

    ``asked`` says what the plan asks of those lots that do not last to it, by their place: they need a reason.
    """
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        line = None
        if order_line is not None:
            line = OrderLine.objects.select_for_update().select_related("item").get(pk=order_line.pk)
            item = line.item
        if posted(f"{key}:1") is not None:
            return list(Posting.objects.filter(key__startswith=f"{key}:").order_by("pk"))
        if not lots:
            raise StockRefusal("No lot was written down, so nothing was received: write at least one.")
        refuse_parts_of_pieces(item, lots)
        said = [f"order {line.order} line {line.line}" if line else "", reason.strip()]
        if line is not None and (over := over_delivery(item, line.quantity, lots)):
            if not over_reason.strip():
                raise StockRefusal(
                    f"{over.text} more of {item.part_number} came than line {line.line} of order {line.order} still "
                    "waits for: count again, keep them out, or say why they are taken."
                )
            said.append(f"{over.text} more than ordered: {over_reason.strip()}")
        postings = []
        for place, lot in enumerate(lots):
            old = refuse_lot(item, lot, today=today, asked=asked.get(place), accepted=short_life_reason)
            why = f"too little life left, accepted: {short_life_reason.strip()}" if old else ""
            text = "; ".join(filter(None, (*said, why)))[:500]
            postings.append(_receive_lot(item, line, lot, text, by, at, today, f"{key}:{place + 1}"))
        return postings


def take_back(*, posting: Posting, reason: str, by: User, at: datetime, key: str) -> Posting:
    """Post the reverse of a posting, open its order line again by what had come, and return the reversal."""
    if not reason.strip():
        raise StockRefusal("Nothing is taken back without a reason: write what was wrong.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := posted(key)) is not None:
            return earlier
        reversal = reverse(posting=posting, by=by, at=at, key=key, reason=reason.strip())
        give_back_to_orders(posting, reversal)
        return reversal


def _receive_lot(
    item: Item,
    line: OrderLine | None,
    lot: DeliveredLot,
    reason: str,
    by: User,
    at: datetime,
    today: date,
    key: str,
) -> Posting:
    facts = lot.facts if lot.facts.received_on else replace(lot.facts, received_on=today)
    posting = receive(
        item=item,
        lot_code=lot.code,
        facts=facts,
        quantity=lot.quantity,
        place_id=lot.place_id,
        by=by,
        at=at,
        today=today,
        key=key,
        condition=lot.condition,
        reason=reason,
    )
    if line is not None:
        take_off_order(line, posting, lot.quantity)
    if lot.condition == Condition.QUARANTINE:
        (stored,) = lots_moved([posting])
        why = reason or "received into quarantine"
        Hold.objects.create(lot=stored, decides=Decides.PURCHASING, reason=why, by=by, at=at)
    return posting
