"""What purchasing does: receive what was ordered."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction
from django.db.models import F, Value
from django.db.models.functions import Greatest

from kits.catalog.revisions import mark_shop
from kits.people.models import User
from kits.purchasing.models import OrderLine, Receipt
from kits.stock.ledger import posted
from kits.stock.models import Posting
from kits.stock.words import Condition
from kits.stock.writes import LotFacts, receive


def receive_order_line(
    *,
    order_line: OrderLine,
    lot_code: str,
    facts: LotFacts,
    quantity: int,
    place_id: int,
    by: User,
    at: datetime,
    today: date,
    key: str,
    condition: str = Condition.USABLE.value,
) -> Posting:
    """Put received pieces on the shelf, take them off what is still to come, and return the posting."""
    with transaction.atomic(durable=True):
        mark_shop()
        line = OrderLine.objects.select_for_update().select_related("item").get(pk=order_line.pk)
        earlier = posted(key)
        if earlier is not None:
            return earlier
        posting = receive(
            item=line.item,
            lot_code=lot_code,
            facts=facts,
            quantity=quantity,
            place_id=place_id,
            by=by,
            at=at,
            today=today,
            key=key,
            condition=condition,
            reason=f"order {line.order} line {line.line}",
        )
        OrderLine.objects.filter(pk=line.pk).update(
            quantity=Greatest(F("quantity") - Value(quantity), Value(0)),
            received_quantity=F("received_quantity") + Value(quantity),
        )
        Receipt.objects.create(order_line=line, posting=posting, quantity=quantity)
        return posting
