"""Who offers what at which price: every row of an offer, so that price breaks stand below one another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import QuerySet

from bom.values import ONE
from kits.catalog.amounts import Amount, price_text
from kits.catalog.caching.late_rows import LateRows, QueryFacts
from kits.catalog.folding import fold
from kits.purchasing.models import Offer, Supplier
from kits.purchasing.rates.conversion import InBoth, Rates


@dataclass(frozen=True, slots=True)
class OfferRow:
    """One row of an offer; ``is_break`` says that it lowers the price of the row above from so many packs on."""

    part_number: str
    what: str
    supplier: str
    supplier_part_number: str
    pack_size: Amount
    minimum_packs: int
    multiple_packs: int
    price_from_packs: int
    price_per_pack: Decimal | None
    currency: str
    abroad: InBoth | None
    price_says: str
    each_says: str
    lead_days: int | None
    quoted_on: date | None
    valid_to_on: date | None
    has_lapsed: bool
    is_break: bool


def _offers(supplier: str, part: str) -> QuerySet[Offer]:
    offers = Offer.objects.select_related("item", "supplier")
    if supplier:
        offers = offers.filter(supplier__folded=fold(supplier))
    if part:
        offers = offers.filter(item__folded__contains=fold(part))
    return offers


def count_lapsed(*, today: date, supplier: str = "", part: str = "") -> int:
    """How many of these offers have lapsed; one statement."""
    return _offers(supplier, part).filter(valid_to_on__lt=today).count()


def offer_list(*, rates: Rates, supplier: str = "", part: str = "") -> Sequence[OfferRow]:
    """Offers of one supplier or for numbers that hold a text, or all of them; read page by page."""
    ordered = _offers(supplier, part).order_by(
        "item__folded", "supplier__folded", "folded", "pack_size", "price_from_packs"
    )
    return LateRows(QueryFacts(ordered), lambda offer: _row(offer, rates))


def suppliers_with_offers() -> tuple[str, ...]:
    """Whose offers can be looked at by themselves; one statement."""
    names = Supplier.objects.filter(offers__isnull=False).distinct().order_by("folded")
    return tuple(names.values_list("supplier", flat=True))


def _row(offer: Offer, rates: Rates) -> OfferRow:
    size = Amount.of(offer.pack_size, offer.item.stock_unit)
    price = None if offer.price_per_pack is None else Decimal(f"{offer.price_per_pack.normalize():f}")
    return OfferRow(
        part_number=offer.item.part_number,
        what=offer.item.description,
        supplier=offer.supplier.supplier,
        supplier_part_number=offer.supplier_part_number,
        pack_size=size,
        minimum_packs=offer.minimum_packs,
        multiple_packs=offer.multiple_packs,
        price_from_packs=offer.price_from_packs,
        price_per_pack=price,
        currency=offer.currency or offer.supplier.currency,
        abroad=rates.in_both(price, offer.currency or offer.supplier.currency),
        price_says="" if price is None else price_text(price),
        each_says=_each(price, offer, size),
        lead_days=offer.lead_days,
        quoted_on=offer.quoted_on,
        valid_to_on=offer.valid_to_on,
        has_lapsed=offer.valid_to_on is not None and offer.valid_to_on < rates.as_of,
        is_break=offer.price_from_packs > 1,
    )


def _each(price: Decimal | None, offer: Offer, size: Amount) -> str:
    """What one piece or unit costs, where a pack holds several; to the hundredth part of a cent if it is little."""
    if price is None or offer.pack_size == ONE:
        return ""
    each = price * ONE / offer.pack_size
    says = price_text(each.quantize(Decimal("0.01") if each >= 1 else Decimal("0.0001")))
    return f"{says} a {size.unit or 'piece'}"
