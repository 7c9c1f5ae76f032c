"""What purchasing does: order, keep promises, take replies back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from kits.catalog.errors import Refusal
from kits.catalog.heard import hear_once
from kits.catalog.models import Item
from kits.catalog.revisions import mark_catalog, mark_shop
from kits.people.models import User
from kits.purchasing.models import (
    OrderEntry,
    OrderLine,
    PromiseChange,
    Reply,
    ReplyLine,
    ReplyState,
    Supplier,
)
from kits.purchasing.writes import NewLine, Quote, add_order_lines, move_promise, note_quote


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
        hear_once(key)
        earlier = OrderEntry.objects.filter(key=key).first()
        if earlier is not None:
            return tuple(earlier.lines.all())
        if not lines:
            raise Refusal("No line was ticked, so nothing was ordered: tick what to order.")
        entry = OrderEntry.objects.create(key=key, by=by, at=at, reason=reason)
        return add_order_lines(order=order, supplier=supplier, lines=lines, today=today, entry=entry)


def change_promise(
    *, order_line: int, promised_on: date, reason: str, by: User, at: datetime, today: date, key: str
) -> PromiseChange:
    """Move the promise of a line, with its reason, and keep what was promised before."""
    with transaction.atomic(durable=True):
        mark_shop()
        hear_once(key)
        earlier = PromiseChange.objects.filter(key=key).first()
        if earlier is not None:
            return earlier
        line = OrderLine.objects.select_for_update().get(pk=order_line)
        return move_promise(line=line, promised_on=promised_on, reason=reason, by=by, at=at, today=today, key=key)


def keep_reply(*, reply: Reply, lines: Iterable[ReplyLine]) -> Reply:
    """Keep a reply with its lines, all of them open; the same file again is the reply that is kept already."""
    with transaction.atomic(durable=True):
        mark_shop()
        earlier = Reply.objects.filter(digest=reply.digest).first()
        if earlier is not None:
            return earlier
        reply.save()
        for line in lines:
            line.reply = reply
            line.save()
        return reply


@dataclass(frozen=True, slots=True)
class Answer:
    """What is accepted of a line for something to buy; blank fields change nothing."""

    supplier: Supplier
    item: Item
    pack_size: int
    price_per_pack: Decimal | None
    lead_days: int | None
    order: str
    quantity: int | None
    promised_on: date | None
    note: str


def accept_answer(*, reply_line: int, answer: Answer, by: User, at: datetime, today: date) -> ReplyLine:
    """Put what a supplier replied into his offers and on order, once; a second request changes nothing."""
    with transaction.atomic(durable=True):
        mark_catalog()
        mark_shop()
        row = ReplyLine.objects.select_for_update().get(pk=reply_line)
        if row.state == ReplyState.ACCEPTED:
            return row
        packs = 1 if answer.quantity is None else -(-answer.quantity // answer.pack_size)
        quote = Quote(answer.supplier, answer.item, answer.pack_size, packs, answer.price_per_pack, answer.lead_days)
        says = [note_quote(quote, today)]
        if answer.quantity is not None and answer.promised_on is not None:
            entry = OrderEntry.objects.create(
                key=f"reply:{row.pk}", by=by, at=at, reason=_reply_reason(row, answer.note)
            )
            new = NewLine(answer.item, answer.quantity, answer.promised_on)
            (line,) = add_order_lines(
                order=answer.order, supplier=answer.supplier, lines=[new], today=today, entry=entry
            )
            says.append(f"ordered on {line}, promised {line.promised_on}")
            row.order_line = line
        if not any(says):
            raise Refusal(
                "There is neither a price, a lead time nor a delivery to take up: fill one in, or set it aside."
            )
        row.item = answer.item
        return _decide(row, ReplyState.ACCEPTED, "; ".join(filter(None, says)), by, at)


def accept_promise(*, reply_line: int, promised_on: date, note: str, by: User, at: datetime, today: date) -> ReplyLine:
    """Move the promise of an order line as a supplier replied, once."""
    with transaction.atomic(durable=True):
        mark_shop()
        row = ReplyLine.objects.select_for_update().get(pk=reply_line)
        if row.state == ReplyState.ACCEPTED:
            return row
        if row.order_line_id is None:
            raise Refusal(f"{row.key} is no order line of ours: set it aside, or enter the order first.")
        line = OrderLine.objects.select_for_update().get(pk=row.order_line_id)
        change = move_promise(
            line=line,
            promised_on=promised_on,
            reason=_reply_reason(row, note),
            by=by,
            at=at,
            today=today,
            key=f"reply:{row.pk}",
        )
        return _decide(row, ReplyState.ACCEPTED, f"promise moved from {change.was_on} to {promised_on}", by, at)


def set_reply_line(*, reply_line: int, state: ReplyState, by: User, at: datetime) -> ReplyLine:
    """Set a line aside, or open one that was set aside again; what was accepted stays."""
    with transaction.atomic(durable=True):
        mark_shop()
        row = ReplyLine.objects.select_for_update().get(pk=reply_line)
        if row.state == ReplyState.ACCEPTED:
            raise Refusal(f"{row} is accepted: change the order or the offer itself.")
        return _decide(row, state, "", by, at)


def _reply_reason(row: ReplyLine, note: str) -> str:
    return f"reply {row.reply_id}, row {row.row}" + (f": {note}" if note else "")[:400]


def _decide(row: ReplyLine, state: ReplyState, outcome: str, by: User, at: datetime) -> ReplyLine:
    row.state, row.decided_by, row.decided_at, row.outcome = state, by, at, outcome[:1000]
    row.save(update_fields=["item", "order_line", "state", "decided_by", "decided_at", "outcome"])
    return row
