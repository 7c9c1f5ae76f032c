"""What is done with replies: kept, accepted line by line or together, set aside. Nothing of it is ordered here."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import date, datetime

from django.db import transaction

from kits.catalog.amounts import Amount
from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.people.sheet_rights import require_sheets
from kits.purchasing.models import OrderLine, QuoteBreak, Reply, ReplyLine, ReplyState, SupplierQuote
from kits.purchasing.replies.answers import SupplierAnswer, answer_as_stated, require_answers
from kits.purchasing.writes import Offered, move_promise, note_offer

EXPEDITE = "Expedite"
"""The sheet whose rows ask for another day of an order; all others ask what to buy."""


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


def accept_answer(
    *,
    reply_line: int,
    answer: SupplierAnswer,
    answers: Mapping[str, str],
    key: str,
    by: User,
    at: datetime,
    today: date,
) -> ReplyLine:
    """Keep a reply as a quote and put its price into the offers of the supplier, once; nothing is ordered by it."""
    with transaction.atomic(durable=True):
        mark_catalog()
        mark_shop()
        log_request(key)
        row = ReplyLine.objects.select_for_update().get(pk=reply_line)
        return row if row.state == ReplyState.ACCEPTED else _accept_answer(row, answer, answers, by, at, today)


def accept_promise(
    *,
    reply_line: int,
    promised_on: date,
    note: str,
    answers: Mapping[str, str],
    key: str,
    by: User,
    at: datetime,
    today: date,
) -> ReplyLine:
    """Move the promise of an order line as a supplier replied, once."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        row = ReplyLine.objects.select_for_update().get(pk=reply_line)
        if row.state == ReplyState.ACCEPTED:
            return row
        return _accept_promise(row, promised_on, note, answers, by, at, today)


def accept_as_stated(
    *, reply: int, lines: Collection[int], key: str, by: User, at: datetime, today: date
) -> tuple[ReplyLine, ...]:
    """Accept chosen lines of a reply as they stand, all or none; those that are accepted already stay as they are."""
    with transaction.atomic(durable=True):
        mark_catalog()
        mark_shop()
        log_request(key)
        rows = ReplyLine.objects.select_for_update(of=("self",)).filter(reply=reply, pk__in=lines).order_by("pk")
        return tuple(
            _as_stated(row, by, at, today) for row in rows.select_related("item") if row.state != ReplyState.ACCEPTED
        )


def set_reply_line(*, reply_line: int, state: ReplyState, key: str, by: User, at: datetime) -> ReplyLine:
    """Set a line aside, or open one that was set aside again; what was accepted stays."""
    with transaction.atomic(durable=True):
        mark_shop()
        is_news = log_request(key)
        row = ReplyLine.objects.select_for_update().get(pk=reply_line)
        if not is_news:
            return row
        if row.state == ReplyState.ACCEPTED:
            raise Refusal(f"{row} is accepted: change the order or the offer itself.")
        require_sheets(by, ["Orders" if row.sheet == EXPEDITE else "Offers"])
        return _decide(row, state, "", {}, by, at)


def drop_quote(*, quote: int, key: str, by: User, at: datetime) -> SupplierQuote:
    """Decide that a quote is not ordered; what it put into the offers stays."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        require_sheets(by, ["Orders"])
        SupplierQuote.objects.waiting().filter(pk=quote).update(dropped_by=by, dropped_at=at)
        found = SupplierQuote.objects.select_related("order_line").get(pk=quote)
        if found.order_line is not None:
            raise Refusal(f"{found} is ordered as {found.order_line}: change the order itself.")
        return found


def _as_stated(row: ReplyLine, by: User, at: datetime, today: date) -> ReplyLine:
    require_answers(row, {})
    if row.sheet != EXPEDITE:
        return _accept_answer(row, answer_as_stated(row), {}, by, at, today)
    promised_on, note = date.fromisoformat(row.stated["promised"]), row.stated.get("note", "")
    return _accept_promise(row, promised_on, note, {}, by, at, today)


def _accept_answer(
    row: ReplyLine, answer: SupplierAnswer, answers: Mapping[str, str], by: User, at: datetime, today: date
) -> ReplyLine:
    require_sheets(by, ["Offers"])
    require_answers(row, answers)
    row.item = answer.item
    if answer.refused:
        says = f"{answer.supplier} does not bid for {answer.item}"
        price, quantity, promised_on = None, None, None
    else:
        says = "; ".join(filter(None, (_offer(answer, today), _promise_says(answer))))
        price, quantity, promised_on = answer.price_per_pack, answer.quantity, answer.promised_on
    if not says:
        raise Refusal("There is neither a price, a lead time nor a delivery to take up: fill one in, or set it aside.")
    if promised_on and promised_on < today:
        raise Refusal(
            f"The promised day {in_full(promised_on)} has passed (today is {in_full(today)}): ask for a new day."
        )
    quote = SupplierQuote.objects.create(
        reply_line=row,
        supplier=answer.supplier,
        item=answer.item,
        why=row.key.rpartition(" / ")[2][:20],
        refused=answer.refused,
        pack_size=answer.pack_size,
        price_per_pack=price,
        currency=answer.currency or answer.supplier.currency,
        quantity=quantity,
        promised_on=promised_on,
        valid_to_on=answer.valid_to_on,
        alternative=answer.alternative[:100],
        note=answer.note[:400],
        quoted_on=today,
        by=by,
        at=at,
    )
    if price is not None:
        QuoteBreak.objects.bulk_create(
            QuoteBreak(quote=quote, from_packs=packs, price_per_pack=then) for packs, then in answer.breaks
        )
    return _decide(row, ReplyState.ACCEPTED, says, answers, by, at)


def _offer(answer: SupplierAnswer, today: date) -> str:
    packs = 1 if answer.quantity is None else -(-answer.quantity // answer.pack_size)
    told = Offered(
        supplier=answer.supplier,
        item=answer.item,
        pack_size=answer.pack_size,
        packs=packs,
        price_per_pack=answer.price_per_pack,
        currency=answer.currency,
        lead_days=answer.lead_days,
        valid_to_on=answer.valid_to_on,
        breaks=answer.breaks,
    )
    return note_offer(told, today)


def _promise_says(answer: SupplierAnswer) -> str:
    if answer.quantity is None:
        return ""
    day = f" promised for {in_full(answer.promised_on)}" if answer.promised_on else " without a day"
    return f"{Amount.of(answer.quantity, answer.item.stock_unit).text}{day}, to be ordered"


def _accept_promise(
    row: ReplyLine, promised_on: date, note: str, answers: Mapping[str, str], by: User, at: datetime, today: date
) -> ReplyLine:
    require_sheets(by, ["Orders"])
    require_answers(row, answers)
    if row.order_line_id is None:
        raise Refusal(f"{row.key} is no order line of ours: set it aside, or enter the order first.")
    line = OrderLine.objects.select_for_update().get(pk=row.order_line_id)
    reason = f"reply {row.reply_id}, row {row.row}" + (f": {note}" if note else "")[:400]
    change = move_promise(
        line=line, promised_on=promised_on, reason=reason, by=by, at=at, today=today, key=f"reply:{row.pk}"
    )
    return _decide(
        row,
        ReplyState.ACCEPTED,
        f"promise moved from {in_full(change.was_on)} to {in_full(promised_on)}",
        answers,
        by,
        at,
    )


def _decide(
    row: ReplyLine, state: ReplyState, outcome: str, answers: Mapping[str, str], by: User, at: datetime
) -> ReplyLine:
    row.state, row.decided_by, row.decided_at, row.outcome, row.answers = state, by, at, outcome[:1000], dict(answers)
    row.save(update_fields=["item", "state", "decided_by", "decided_at", "outcome", "answers"])
    return row
