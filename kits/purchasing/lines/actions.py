"""What becomes of the lines of an order that was sent: confirmed, changed, split, cancelled, and asked about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.fields import quantity_text
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.people.sheet_rights import require_sheets
from kits.purchasing.lines.writes import (
    SaidBy,
    locked_line,
    next_number,
    note_change,
    refuse_past,
    require_reason,
    set_packs,
    set_price,
    store,
)
from kits.purchasing.models import LineTerms, OrderLine, PurchaseOrder, SupplierCall
from kits.purchasing.order_models import ChangeKind
from kits.purchasing.writes import move_promise


@dataclass(frozen=True, slots=True)
class ConfirmedLine:
    """What a supplier says of a line that was ordered: packs, the price of one, the day at our door."""

    line: int
    packs: int
    price_per_pack: Decimal | None
    promised_on: date
    note: str = ""


def confirm_lines(
    *, order: int, lines: Sequence[ConfirmedLine], source: str, by: User, at: datetime, today: date, key: str
) -> int:
    """Take what a supplier confirmed of lines of an order, all or none, and return how many say something else.

    The first day that he promises is kept; what was asked for is no promise, so another day is no slip.
    """
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return 0
        require_sheets(by, ["Orders"])
        if not lines:
            raise Refusal("No line was ticked, so nothing was taken: tick what the supplier confirmed.")
        found = PurchaseOrder.objects.get(pk=order)
        changed = 0
        for one in sorted(lines, key=lambda one: one.line):
            reason = "; ".join(filter(None, (source, one.note)))
            changed += _confirm(found, one, SaidBy(by, at, reason), today, f"{key}:{one.line}")
        return changed


def change_line(
    *,
    order_line: int,
    packs: int | None,
    quantity: int | None,
    price_per_pack: Decimal | None,
    reason: str,
    by: User,
    at: datetime,
    key: str,
) -> OrderLine:
    """Order another number of packs, or another price; of a line without packs another quantity still to come."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return OrderLine.objects.get(pk=order_line)
        require_sheets(by, ["Orders"])
        require_reason(reason)
        line, terms = locked_line(order_line)
        if terms is not None and packs is not None:
            says = [set_packs(line, terms, packs), set_price(terms, price_per_pack)]
        else:
            says = [_set_quantity(line, quantity)]
        if not any(says):
            raise Refusal(f"{line} says so already: nothing was changed.")
        store(line, terms)
        note_change(line, ChangeKind.CHANGED, "; ".join(filter(None, says)), SaidBy(by, at, reason))
        return line


def split_line(
    *, order_line: int, quantity: int, promised_on: date, reason: str, by: User, at: datetime, today: date, key: str
) -> OrderLine:
    """Let some of a line come on another day, as a line of its own, and return that; the rest keeps its promise."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return OrderLine.objects.get(pk=order_line)
        require_sheets(by, ["Orders"])
        require_reason(reason)
        line, terms = locked_line(order_line)
        refuse_past(line, promised_on, today)
        if not 0 < quantity < line.quantity or (line.item.countable and quantity % ONE):
            raise Refusal(
                f"{quantity_text(quantity)} cannot be split off {line}, of which {quantity_text(line.quantity)} is to "
                "come: write less than that, above 0."
            )
        if terms is not None and quantity % terms.pack_size:
            pack = Amount.of(terms.pack_size, line.item.stock_unit).text
            raise Refusal(f"{line} comes in packs of {pack}: split off whole packs.")
        other = OrderLine.objects.create(
            order=line.order,
            line=str(next_number(line.order)),
            supplier=line.supplier,
            item=line.item,
            quantity=quantity,
            promised_on=promised_on,
            entry=line.entry,
        )
        line.quantity -= quantity
        if terms is not None:
            _split_terms(terms, other, quantity)
        store(line, terms)
        off = Amount.of(quantity, line.item.stock_unit).text
        said = SaidBy(by, at, reason)
        note_change(line, ChangeKind.SPLIT, f"{off} comes as line {other.line}, on {in_full(promised_on)}", said)
        note_change(
            other, ChangeKind.SPLIT, f"{off} of line {line.line}, promised for {in_full(line.promised_on)}", said
        )
        return other


def cancel_line(*, order_line: int, reason: str, by: User, at: datetime, key: str) -> OrderLine:
    """Cancel what is still to come of a line; what has come stays."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return OrderLine.objects.get(pk=order_line)
        require_sheets(by, ["Orders"])
        require_reason(reason)
        line, terms = locked_line(order_line)
        says = (
            f"{Amount.of(line.quantity, line.item.stock_unit).text} cancelled, promised for {in_full(line.promised_on)}"
        )
        if terms is not None:
            terms.packs = max(0, terms.packs - line.quantity // terms.pack_size)
        line.quantity = 0
        store(line, terms)
        note_change(line, ChangeKind.CANCELLED, says, SaidBy(by, at, reason))
        return line


def log_call(
    *,
    order_line: int,
    asked: str,
    said: str,
    next_call_on: date | None,
    by: User,
    at: datetime,
    today: date,
    key: str,
) -> SupplierCall:
    """Keep who was asked about a line, what he said, and when to call again."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return SupplierCall.objects.filter(order_line=order_line)[0]
        require_sheets(by, ["Orders"])
        if next_call_on is not None and next_call_on < today:
            raise Refusal(
                f"The day of the next call, {in_full(next_call_on)}, has passed (today is {in_full(today)}): write "
                "another."
            )
        line, _ = locked_line(order_line)
        return SupplierCall.objects.create(
            order_line=line, asked=asked.strip(), said=said.strip(), next_call_on=next_call_on, by=by, at=at
        )


def _confirm(order: PurchaseOrder, one: ConfirmedLine, said: SaidBy, today: date, key: str) -> bool:
    line, terms = locked_line(one.line)
    if terms is None or terms.order_id != order.pk:
        raise Refusal(f"{line} is no line of order {order} that can be confirmed: look at the order.")
    refuse_past(line, one.promised_on, today)
    says = [set_packs(line, terms, one.packs), set_price(terms, one.price_per_pack)]
    first = terms.confirmed_on is None
    if one.promised_on != line.promised_on:
        says.append(
            f"{'asked for' if first else 'promised for'} {in_full(line.promised_on)}, confirmed for "
            f"{in_full(one.promised_on)}"
        )
    if first:
        terms.confirmed_on, terms.first_promised_on = today, one.promised_on
        line.promised_on = one.promised_on
    elif one.promised_on != line.promised_on:
        change = move_promise(
            line=line,
            promised_on=one.promised_on,
            reason=said.reason or "confirmed anew",
            by=said.by,
            at=said.at,
            today=today,
            key=key[:100],
        )
        line.promised_on = change.promised_on
    store(line, terms)
    other = "; ".join(filter(None, says))
    note_change(line, ChangeKind.CONFIRMED, other or f"as ordered, for {in_full(one.promised_on)}", said)
    return bool(other)


def _set_quantity(line: OrderLine, quantity: int | None) -> str:
    if quantity is None or quantity == line.quantity:
        return ""
    if quantity <= 0 or (line.item.countable and quantity % ONE):
        raise Refusal(
            f"{quantity_text(quantity)} of {line.item} cannot be on order: write how many are still to come, above 0."
        )
    says = f"still to come {quantity_text(line.quantity)} → {quantity_text(quantity)}"
    line.quantity = quantity
    return says


def _split_terms(terms: LineTerms, other: OrderLine, quantity: int) -> None:
    """Give a line that was split off its own terms, and take its packs from those of the line that it was part of."""
    packs = quantity // terms.pack_size
    LineTerms.objects.create(
        order_id=terms.order_id,
        number=int(other.line),
        item=terms.item,
        packs=packs,
        pack_size=terms.pack_size,
        price_per_pack=terms.price_per_pack,
        supplier_part_number=terms.supplier_part_number,
        wanted_on=terms.wanted_on,
        what_for=terms.what_for,
        order_line=other,
        confirmed_on=terms.confirmed_on,
        first_promised_on=terms.first_promised_on,
    )
    terms.packs -= packs
