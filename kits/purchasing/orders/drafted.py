"""What to know before an order is drafted: what stands on drafts already, and which parts need a certificate."""

from __future__ import annotations

from collections import defaultdict

from kits.catalog.amounts import Amount
from kits.catalog.models import Item
from kits.purchasing.models import LineTerms


def drafted_packs() -> dict[int, str]:
    """For each item on a drafted order how many, and on which order, in words; one statement."""
    lines = LineTerms.objects.filter(order__sent_on=None, order__cancelled_at=None).order_by("order__folded", "number")
    found: dict[int, list[str]] = defaultdict(list)
    for line in lines.select_related("order", "item"):
        amount = Amount.of(line.quantity, line.item.stock_unit)
        found[line.item_id].append(f"{amount.text} on {line.order}")
    return {item: ", ".join(some) for item, some in found.items()}


def certified_items() -> frozenset[int]:
    """The items of which a certificate has to come with each delivery; one statement."""
    return frozenset(Item.objects.filter(certificate_needed=True).values_list("pk", flat=True))
