"""What the items on a sheet are called: read once for all of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.models import Item


@dataclass(frozen=True, slots=True)
class ItemName:
    """An item as sheets name it: ``what`` in full, ``kind`` in a word or two (O-ring, cup seal, end kit)."""

    part_number: str
    what: str
    kind: str
    leads_to: str
    unit: str

    def amount(self, millionths: int) -> Amount:
        """An amount of this item."""
        return Amount.of(int(millionths), self.unit)

    def stock_amount(self, number: int | float) -> Amount:
        """An amount given in stock units, as the rows of the plan have it."""
        return Amount.of(round(number * ONE), self.unit)


def item_names(part_numbers: Iterable[str]) -> dict[str, ItemName]:
    """The names of these items, by part number; one statement."""
    rows = Item.objects.filter(part_number__in=set(part_numbers)).values_list(
        "part_number", "description", "form", "kind", "stock_unit"
    )
    return {
        number: ItemName(
            part_number=number,
            what=what,
            kind=form or what.split(",")[0],
            leads_to=kind if kind in ("kit", "pump") else "part",
            unit=unit,
        )
        for number, what, form, kind, unit in rows
    }
