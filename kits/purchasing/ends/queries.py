"""Reads of items that are no longer made."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta

from kits.catalog.days.words import words_for_day
from kits.purchasing.models import EndOfMaking

SOON_DAYS = 60
"""So long before the last day to order the purchaser is told."""


@dataclass(frozen=True, slots=True)
class EndRow:
    """An item that is no longer made."""

    part_number: str
    what: str
    from_on: date
    last_order_on: date | None
    source: str
    note: str

    def says(self, as_of: date) -> str:
        """Since when, and until when it can be ordered, in half a sentence."""
        told = f"no longer made {'from' if self.from_on > as_of else 'since'} {words_for_day(self.from_on, as_of)}"
        if self.last_order_on is None:
            return told
        last = words_for_day(self.last_order_on, as_of)
        return f"{told}, last orders {'were taken on' if self.last_order_on < as_of else 'by'} {last}"


def ends(parts: Collection[str] | None = None) -> dict[str, EndRow]:
    """What is no longer made, by part number, of these or of all; one statement."""
    found = EndOfMaking.objects.filter(taken_back_at__isnull=True).select_related("item").order_by("item__folded")
    if parts is not None:
        found = found.filter(item__part_number__in=parts)
    return {
        row.item.part_number: EndRow(
            part_number=row.item.part_number,
            what=row.item.description,
            from_on=row.from_on,
            last_order_on=row.last_order_on,
            source=row.source,
            note=row.note,
        )
        for row in found
    }


def last_orders_soon(as_of: date) -> list[EndRow]:
    """What can be ordered for the last time within the next weeks, the first on top; one statement."""
    soon = as_of + timedelta(days=SOON_DAYS)
    found = [row for row in ends().values() if row.last_order_on and as_of <= row.last_order_on <= soon]
    return sorted(found, key=lambda row: (row.last_order_on or date.max, row.part_number))
