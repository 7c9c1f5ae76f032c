"""Numbers of orders: each is given once in the shop, after all that were used under the same prefix."""

from __future__ import annotations

import re
from itertools import chain

from kits.catalog.errors import Refusal
from kits.catalog.folding import fold
from kits.purchasing.models import OrderLine, PurchaseOrder, Supplier


def next_numbers(prefix: str, count: int) -> list[str]:
    """Return the next free numbers, as long as those in use; the caller holds the mark of the shop."""
    form = re.compile(re.escape(fold(prefix)) + r"([0-9]{1,9})")
    used = chain(
        PurchaseOrder.objects.filter(folded__startswith=fold(prefix)).values_list("folded", flat=True),
        OrderLine.objects.filter(folded_order__startswith=fold(prefix))
        .values_list("folded_order", flat=True)
        .distinct(),
    )
    found = [match[1] for text in used if (match := form.fullmatch(text))]
    last = max((int(digits) for digits in found), default=0)
    width = max((len(digits) for digits in found), default=4)
    return [f"{prefix}{number:0{width}d}" for number in range(last + 1, last + 1 + count)]


def refuse_taken(number: str, supplier: Supplier) -> None:
    """Refuse the number of an order that there is already."""
    if PurchaseOrder.objects.by_number(number) or OrderLine.objects.filter(folded_order=fold(number)).exists():
        raise Refusal(
            f"There is an order {number} already: give the order to {supplier} another number, or leave it blank for "
            "the shop's next one."
        )
