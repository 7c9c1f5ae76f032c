"""Stores orders, promises and prices, inside somebody's transaction only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from kits.catalog.amounts import Amount, price_text
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.people.models import User
from kits.purchasing.models import Offer, OrderLine, PromiseChange, Supplier


@dataclass(frozen=True, slots=True)
class Offered:
    """What a supplier says of an item. What is None or blank stays as it is."""

    supplier: Supplier
    item: Item
    pack_size: int
    packs: int
    price_per_pack: Decimal | None
    currency: str
    lead_days: int | None
    valid_to_on: date | None
    breaks: tuple[tuple[int, Decimal], ...] = ()


def move_promise(
    *, line: OrderLine, promised_on: date, reason: str, by: User | None, at: datetime, today: date, key: str
) -> PromiseChange:
    """Give an open line another day, and keep the day it had."""
    if not line.quantity:
        raise Refusal(f"{line} has come in full: there is nothing left to promise.")
    if promised_on < today:
        raise Refusal(
            f"{line}: the day {in_full(promised_on)} has passed (today is {in_full(today)}): ask for a new day."
        )
    if promised_on == line.promised_on:
        raise Refusal(f"{line} is promised for {in_full(promised_on)} already: nothing was changed.")
    change = PromiseChange.objects.create(
        order_line=line, was_on=line.promised_on, promised_on=promised_on, reason=reason, by=by, at=at, key=key
    )
    OrderLine.objects.filter(pk=line.pk).update(promised_on=promised_on)
    return change


def promised_days() -> dict[int, date]:
    """The day each order line is promised for, before a list changes them."""
    return dict(OrderLine.objects.values_list("pk", "promised_on"))


def note_moved_promises(before: Mapping[int, date], *, reason: str, by: User | None, at: datetime, key: str) -> None:
    """Keep the days that a list has moved, as if each had been changed by hand."""
    after = promised_days()
    PromiseChange.objects.bulk_create(
        PromiseChange(
            order_line_id=pk, was_on=was_on, promised_on=after[pk], reason=reason, by=by, at=at, key=f"{key}:{pk}"
        )
        for pk, was_on in before.items()
        if pk in after and after[pk] != was_on
    )


def note_offer(told: Offered, today: date) -> str:
    """Put a price or a lead time into the supplier's offers, and say in words what was changed."""
    if told.price_per_pack is None and told.lead_days is None:
        return ""
    rows = list(
        Offer.objects.select_for_update()
        .filter(supplier=told.supplier, item=told.item, pack_size=told.pack_size)
        .order_by("price_from_packs", "pk")
    )
    pack = f"pack of {Amount.of(told.pack_size, told.item.stock_unit).text}"
    if not rows:
        row = Offer.objects.create(
            supplier=told.supplier,
            item=told.item,
            pack_size=told.pack_size,
            price_per_pack=told.price_per_pack,
            lead_days=told.lead_days,
            currency=told.currency or told.supplier.currency,
            quoted_on=today,
            valid_to_on=told.valid_to_on,
        )
        _note_breaks(told, row, today)
        says = f"new offer of {told.supplier}, {pack}{_price_says(None, told)}{_lead_says(None, told)}"
        return f"{says}{_breaks_say(told)}"
    # The break that holds for as many packs as were asked for; a smaller order has the first row's price.
    row = next((one for one in reversed(rows) if one.price_from_packs <= told.packs), rows[0])
    says = f"offer of {told.supplier}, {pack}{_price_says(row, told)}{_lead_says(row, told)}"
    if told.price_per_pack is not None:
        row.price_per_pack, row.quoted_on = told.price_per_pack, today
        row.currency = told.currency or row.currency
        # A price that has lapsed lives again when it is quoted anew; until when, the quote did not say.
        lapsed = row.valid_to_on is not None and row.valid_to_on < today
        row.valid_to_on = told.valid_to_on or (None if lapsed else row.valid_to_on)
        row.save(update_fields=["price_per_pack", "quoted_on", "currency", "valid_to_on"])
    if told.lead_days is not None:
        Offer.objects.filter(pk__in=[one.pk for one in rows]).update(lead_days=told.lead_days)
    _note_breaks(told, row, today)
    return f"{says}{_breaks_say(told)}"


def _note_breaks(told: Offered, row: Offer, today: date) -> None:
    """Put price breaks beside the row whose price they lower, under the same number and in the same pack."""
    for packs, price in told.breaks if told.price_per_pack is not None else ():
        Offer.objects.update_or_create(
            supplier=told.supplier,
            item=told.item,
            folded=row.folded,
            pack_size=told.pack_size,
            price_from_packs=packs,
            defaults={
                "supplier_part_number": row.supplier_part_number,
                "minimum_packs": row.minimum_packs,
                "multiple_packs": row.multiple_packs,
                "lead_days": row.lead_days if told.lead_days is None else told.lead_days,
                "price_per_pack": price,
                "currency": row.currency,
                "quoted_on": today,
                "valid_to_on": row.valid_to_on,
            },
        )


def _breaks_say(told: Offered) -> str:
    return "".join(f", {price_text(price)} from {packs} packs" for packs, price in told.breaks)


def _price_says(row: Offer | None, told: Offered) -> str:
    if told.price_per_pack is None:
        return ""
    before = row.price_per_pack if row else None
    was = "" if before is None else f" (was {price_text(before)})"
    from_packs = f" from {row.price_from_packs} packs" if row and row.price_from_packs > 1 else ""
    currency = f" {told.currency}" if told.currency else ""
    until = f", valid to {in_full(told.valid_to_on)}" if told.valid_to_on else ""
    return f", {price_text(told.price_per_pack)}{currency} a pack{from_packs}{was}{until}"


def _lead_says(row: Offer | None, told: Offered) -> str:
    if told.lead_days is None:
        return ""
    was = "" if row is None or row.lead_days is None else f" (was {row.lead_days})"
    return f", lead time {told.lead_days} working days{was}"
