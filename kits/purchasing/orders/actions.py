"""Orders that are drafted, put right and sent. A draft is no supply: what was promised begins when it is sent."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.people.sheet_rights import require_sheets
from kits.purchasing.models import OrderEntry, PurchaseOrder, SupplierQuote
from kits.purchasing.orders.writes import (
    DraftLine,
    LineEdit,
    add_draft,
    locked_draft,
    numbers_for,
    open_line,
    refuse_quotes_taken,
    refuse_unfit,
)


def draft_orders(
    *,
    lines: Sequence[DraftLine],
    numbers: Mapping[int, str],
    reason: str,
    by: User,
    at: datetime,
    today: date,
    key: str,
) -> tuple[PurchaseOrder, ...]:
    """Draft an order for each supplier of the lines, and return them; the same request again changes nothing.

    ``numbers`` are those that were typed, by supplier; the others get the shop's next ones.
    """
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        earlier = OrderEntry.objects.filter(key=key).first()
        if earlier is not None:
            return tuple(earlier.orders.select_related("supplier").order_by("pk"))
        require_sheets(by, ["Orders"])
        if not lines:
            raise Refusal("No line was ticked, so nothing was drafted: tick what to order.")
        by_supplier: dict[int, list[DraftLine]] = {}
        for line in lines:
            refuse_unfit(line.item, line.packs, line.pack_size, line.wanted_on, today)
            by_supplier.setdefault(line.supplier.pk, []).append(line)
        entry = OrderEntry.objects.create(key=key, by=by, at=at, reason=reason)
        given = numbers_for(by_supplier, numbers)
        drafted = tuple(add_draft(given[pk], some, entry) for pk, some in by_supplier.items())
        refuse_quotes_taken(lines)
        return drafted


def change_draft(
    *, order: int, edits: Mapping[int, LineEdit], by: User, at: datetime, today: date, key: str
) -> PurchaseOrder:
    """Put the lines of a draft right, and take off it those that are left without packs."""
    with transaction.atomic(durable=True):
        mark_shop()
        is_news = log_request(key)
        found = locked_draft(order)
        if not is_news:
            return found
        require_sheets(by, ["Orders"])
        for line in found.lines.select_related("item"):
            edit = edits.get(line.pk)
            if edit is None:
                continue
            if not edit.packs:
                line.delete()
                continue
            refuse_unfit(line.item, edit.packs, line.pack_size, edit.wanted_on, today)
            line.packs, line.price_per_pack, line.wanted_on = edit.packs, edit.price_per_pack, edit.wanted_on
            line.save(update_fields=["packs", "price_per_pack", "wanted_on"])
        if not found.lines.exists():
            raise Refusal(f"No line would be left on order {found}: cancel the draft instead.")
        return found


def cancel_draft(*, order: int, reason: str, by: User, at: datetime, key: str) -> PurchaseOrder:
    """Cancel a draft; its number is not given again, and the quotes that it follows wait once more."""
    with transaction.atomic(durable=True):
        mark_shop()
        is_news = log_request(key)
        if not is_news:
            return PurchaseOrder.objects.select_related("supplier").get(pk=order)
        require_sheets(by, ["Orders"])
        found = locked_draft(order)
        found.cancelled_at, found.cancelled_by, found.cancelled_reason = at, by, reason.strip()
        found.save(update_fields=["cancelled_at", "cancelled_by", "cancelled_reason"])
        return found


def send_order(*, order: int, sent_on: date, by: User, at: datetime, today: date, key: str) -> PurchaseOrder:
    """Say that a draft was sent: from now on the plan counts on its lines, on the days that they are asked for."""
    with transaction.atomic(durable=True):
        mark_shop()
        is_news = log_request(key)
        if not is_news:
            return PurchaseOrder.objects.select_related("supplier").get(pk=order)
        require_sheets(by, ["Orders"])
        found = locked_draft(order)
        if sent_on > today:
            raise Refusal(
                f"{in_full(sent_on)} has not come yet (today is {in_full(today)}): say that it was sent once it was."
            )
        for line in found.lines.select_related("item").order_by("number"):
            refuse_unfit(line.item, line.packs, line.pack_size, line.wanted_on, today)
            line.order_line = open_line(found, line)
            line.save(update_fields=["order_line"])
            if line.quote_id is not None:
                SupplierQuote.objects.filter(pk=line.quote_id).update(order_line=line.order_line)
        found.sent_on, found.sent_by = sent_on, by
        found.save(update_fields=["sent_on", "sent_by"])
        return found
