"""What suppliers replied and somebody accepted: quotes that wait to be ordered, those that were, and refusals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import QuerySet

from kits.catalog.amounts import Amount, price_text
from kits.catalog.caching.late_rows import LateRows, QueryFacts
from kits.catalog.folding import fold
from kits.purchasing.models import LineTerms, Supplier, SupplierQuote
from kits.purchasing.rates.conversion import InBoth, Rates


@dataclass(frozen=True, slots=True)
class QuoteRow:
    """One quote. ``state`` says what became of it; ``waits`` that it can be ordered or dropped."""

    pk: int
    item_id: int
    part_number: str
    what: str
    supplier: str
    why: str
    refused: bool
    pack_size: Amount
    price_per_pack: Decimal | None
    price_says: str
    currency: str
    abroad: InBoth | None
    quantity: Amount | None
    promised_on: date | None
    valid_to_on: date | None
    has_lapsed: bool
    quoted_on: date
    note: str
    reply: int
    state: str
    order_line: int | None
    waits: bool


def quote_list(*, rates: Rates, supplier: str = "", waiting: bool = False) -> Sequence[QuoteRow]:
    """Quotes and refusals, the latest first, of one supplier or only those that wait if asked; read page by page."""
    found = _with_names(SupplierQuote.objects.waiting() if waiting else SupplierQuote.objects.all())
    if supplier:
        found = found.filter(supplier__folded=fold(supplier))
    return LateRows(QueryFacts(found.order_by("-pk")), lambda quote: quote_row(quote, rates))


def waiting_quotes(rates: Rates) -> list[QuoteRow]:
    """The quotes that wait to be ordered, in the order in which they were accepted; one statement."""
    found = _with_names(SupplierQuote.objects.waiting())
    return [quote_row(quote, rates) for quote in found.order_by("pk")]


def suppliers_with_quotes() -> tuple[str, ...]:
    """Who replied so far; one statement."""
    names = Supplier.objects.filter(quotes__isnull=False).distinct().order_by("folded")
    return tuple(names.values_list("supplier", flat=True))


def refusals_of(items: Sequence[int]) -> dict[tuple[int, str], date]:
    """Which supplier's last word on which item was that he does not bid, and when; one statement."""
    last = SupplierQuote.objects.filter(item__in=items).select_related("supplier").order_by("pk")
    words = {(quote.item_id, quote.supplier.supplier): quote for quote in last}
    return {key: quote.quoted_on for key, quote in words.items() if quote.refused}


def quote_row(quote: SupplierQuote, rates: Rates) -> QuoteRow:
    """A quote as it is shown on the day of the rates."""
    unit = quote.item.stock_unit
    drafted = next((one for one in quote.line_terms.all() if one.order.cancelled_at is None), None)
    open_to_order = quote.order_line_id is None and quote.dropped_at is None and drafted is None
    waits = quote.quantity is not None and open_to_order
    price = quote.price_per_pack
    return QuoteRow(
        pk=quote.pk,
        item_id=quote.item_id,
        part_number=quote.item.part_number,
        what=quote.item.description,
        supplier=quote.supplier.supplier,
        why=quote.why,
        refused=quote.refused,
        pack_size=Amount.of(quote.pack_size, unit),
        price_per_pack=None if price is None else Decimal(f"{price.normalize():f}"),
        price_says="" if price is None else " ".join(filter(None, (price_text(price), quote.currency))),
        currency=quote.currency,
        abroad=rates.in_both(price, quote.currency),
        quantity=None if quote.quantity is None else Amount.of(quote.quantity, unit),
        promised_on=quote.promised_on,
        valid_to_on=quote.valid_to_on,
        has_lapsed=quote.valid_to_on is not None and quote.valid_to_on < rates.as_of,
        quoted_on=quote.quoted_on,
        note=quote.note,
        reply=quote.reply_line.reply_id,
        state=_state(quote, drafted, waits),
        order_line=quote.order_line_id,
        waits=waits,
    )


def _with_names(quotes: QuerySet[SupplierQuote]) -> QuerySet[SupplierQuote]:
    return quotes.select_related("item", "supplier", "order_line", "reply_line").prefetch_related("line_terms__order")


def _state(quote: SupplierQuote, drafted: LineTerms | None, waits: bool) -> str:
    if quote.refused:
        return "does not bid"
    if quote.order_line is not None:
        return f"ordered, {quote.order_line}"
    if drafted is not None:
        return f"drafted, {drafted}"
    if quote.dropped_at is not None:
        return "not to be ordered"
    return "to be ordered" if waits else "price alone"
