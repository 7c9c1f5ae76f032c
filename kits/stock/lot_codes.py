"""Codes for lots whose bag bears none."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from itertools import count

from kits.catalog.models import Item
from kits.stock.models import Lot


def free_lot_codes(item: Item, today: date, *, found: bool = False) -> Iterator[str]:
    """The day and each number that no lot of the item has; what was found at a stock-take says so."""
    stem = f"{'FOUND-' if found else ''}{today:%y%m%d}-"
    taken = set(Lot.objects.filter(item=item, lot__startswith=stem).values_list("lot", flat=True))
    return (code for number in count(1) if (code := f"{stem}{number}") not in taken)
