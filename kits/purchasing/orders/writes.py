"""Stores of drafts and of what is still to come of them, inside a transaction only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from bom.values import ONE
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.catalog.queries import read_settings
from kits.purchasing.models import LineTerms, OrderEntry, OrderLine, PurchaseOrder, Supplier, SupplierQuote
from kits.purchasing.orders.numbers import next_numbers, refuse_taken

MOST_PACKS = 1_000_000


@dataclass(frozen=True, slots=True)
class DraftLine:
    """A line to be drafted: packs of so many millionths, the price of one, the day at our door, what it is for.

    ``quote_id`` is the quote that it follows, if any. ``currency`` is the supplier's where it says nothing.
    """

    supplier: Supplier
    item: Item
    packs: int
    pack_size: int
    wanted_on: date
    price_per_pack: Decimal | None = None
    currency: str = ""
    supplier_part_number: str = ""
    what_for: str = ""
    quote_id: int | None = None


@dataclass(frozen=True, slots=True)
class LineEdit:
    """What a line of a draft is to say; no packs take it off the draft."""

    packs: int
    price_per_pack: Decimal | None
    wanted_on: date


def locked_draft(order: int) -> PurchaseOrder:
    """Return a draft, locked; refuse an order that is none any more."""
    found = PurchaseOrder.objects.select_for_update(of=("self",)).select_related("supplier").get(pk=order)
    if found.cancelled_at is not None:
        raise Refusal(f"Order {found} was cancelled: draft another one.")
    if found.sent_on is not None:
        raise Refusal(f"Order {found} was sent on {in_full(found.sent_on)}: change its lines one by one.")
    return found


def open_line(order: PurchaseOrder, terms: LineTerms) -> OrderLine:
    """Make what is still to come of a line that is sent."""
    return OrderLine.objects.create(
        order=order.number,
        line=str(terms.number),
        supplier=order.supplier,
        item=terms.item,
        quantity=terms.quantity,
        promised_on=terms.wanted_on,
        entry_id=order.entry_id,
    )


def refuse_unfit(item: Item, packs: int, pack_size: int, wanted_on: date, today: date) -> None:
    """Refuse packs and days that cannot be ordered."""
    if not 0 < packs <= MOST_PACKS:
        raise Refusal(f"{item}: {packs} packs cannot be ordered: write a whole number from 1 to {MOST_PACKS}.")
    if item.countable and packs * pack_size % ONE:
        raise Refusal(f"{item}: the packs hold no whole number of pieces: write another number of packs.")
    if wanted_on < today:
        raise Refusal(
            f"{item}: the day {in_full(wanted_on)} has passed (today is {in_full(today)}): write a day to come."
        )


def numbers_for(by_supplier: Mapping[int, Sequence[DraftLine]], typed: Mapping[int, str]) -> dict[int, str]:
    """The number of each supplier's order."""
    given = {pk: typed.get(pk, "").strip() for pk in by_supplier}
    free = iter(next_numbers(read_settings().order_prefix, sum(not number for number in given.values())))
    for pk, some in by_supplier.items():
        if given[pk]:
            refuse_taken(given[pk], some[0].supplier)
        else:
            given[pk] = next(free)
    return given


def add_draft(number: str, lines: Sequence[DraftLine], entry: OrderEntry) -> PurchaseOrder:
    supplier = lines[0].supplier
    currencies = {line.currency or supplier.currency for line in lines}
    if len(currencies) > 1:
        raise Refusal(
            f"{supplier}: one order is in one currency, not in {' and '.join(sorted(currencies))}: take the other "
            "lines off."
        )
    refuse_taken(number, supplier)
    order = PurchaseOrder.objects.create(number=number, supplier=supplier, currency=currencies.pop(), entry=entry)
    for place, line in enumerate(lines, start=1):
        LineTerms.objects.create(
            order=order,
            number=place,
            item=line.item,
            packs=line.packs,
            pack_size=line.pack_size,
            price_per_pack=line.price_per_pack,
            supplier_part_number=line.supplier_part_number,
            wanted_on=line.wanted_on,
            what_for=line.what_for[:100],
            quote_id=line.quote_id,
        )
    return order


def refuse_quotes_taken(lines: Sequence[DraftLine]) -> None:
    """Refuse a quote that somebody else drafted, ordered or dropped meanwhile."""
    for line in lines:
        if line.quote_id is None:
            continue
        mine = LineTerms.objects.filter(quote=line.quote_id, order__cancelled_at=None).count()
        free = SupplierQuote.objects.filter(
            pk=line.quote_id, item=line.item, supplier=line.supplier, order_line=None, dropped_at=None
        )
        if mine != 1 or not free.exists():
            raise Refusal(
                f"The quote for {line.item} was ordered or dropped meanwhile, so nothing was drafted: look at the list "
                "again."
            )
