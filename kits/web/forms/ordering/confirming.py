"""The form on which a supplier's confirmation is typed, or stands as he filled it in, and is compared."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django import forms

from kits.catalog.amounts import price_text
from kits.catalog.days.doubts import DayDoubts
from kits.catalog.days.questions import AsksAboutDays
from kits.purchasing.lines.actions import ConfirmedLine
from kits.purchasing.orders.order_sheet import OrderSheet, OrderSheetLine
from kits.purchasing.orders.states import OrderState
from kits.web.forms.days import DayField
from kits.web.forms.ordering.fields import PacksField, PriceField
from kits.web.forms.purchasing import promise_doubts
from kits.web.request_keys import KeyForm

FIELDS = ("take", "packs", "price", "day", "note")
TO_CONFIRM = frozenset({OrderState.SENT, OrderState.CONFIRMED, OrderState.PART_RECEIVED})


@dataclass(frozen=True, slots=True)
class ConfirmRow:
    """A line on the form: its fields, and what is different from the order as far as it was compared."""

    line: OrderSheetLine
    take: forms.BoundField
    packs: forms.BoundField
    price: forms.BoundField
    day: forms.BoundField
    note: forms.BoundField
    differs: tuple[str, ...]
    unread: tuple[str, ...]


class ConfirmForm(AsksAboutDays, KeyForm):
    """What the supplier says of each open line; it is taken once it was compared and nothing was changed since."""

    compared = forms.CharField(required=False, max_length=64)
    source = forms.CharField(required=False, max_length=200)

    def __init__(self, sheet: OrderSheet, odd: DayDoubts, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.odd, self.unread = odd, dict[str, tuple[str, ...]]()
        self.lines = [line for line in sheet.lines if line.terms_id and line.state in TO_CONFIRM]
        for line in self.lines:
            pk = line.line_id
            price = None if line.price_per_pack is None else price_text(line.price_per_pack)
            self.fields[f"take-{pk}"] = forms.BooleanField(required=False, initial=line.state == OrderState.SENT)
            self.fields[f"packs-{pk}"] = PacksField(initial=line.packs)
            self.fields[f"price-{pk}"] = PriceField(required=False, initial=price)
            self.fields[f"day-{pk}"] = DayField(initial=line.promised_on)
            self.fields[f"note-{pk}"] = forms.CharField(required=False, max_length=300)

    @property
    def rows(self) -> Iterator[ConfirmRow]:
        """Each line with its fields, and how it differs."""
        for line in self.lines:
            take, packs, price, day, note = (self[f"{what}-{line.line_id}"] for what in FIELDS)
            unread = self.unread.get(line.number, ())
            yield ConfirmRow(line, take, packs, price, day, note, tuple(self._differs(line)), unread)

    @property
    def was_compared(self) -> bool:
        """Whether just these values stood in the comparison."""
        return self.is_valid() and self.cleaned_data["compared"] == self.digest

    @property
    def digest(self) -> str:
        """What tells these values from others."""
        names = [f"{what}-{line.line_id}" for line in self.lines for what in FIELDS]
        said = [str(self.cleaned_data.get(name)) for name in names] if self.is_bound and self.is_valid() else []
        return hashlib.sha256(repr(said).encode()).hexdigest() if said else ""

    def doubts(self, cleaned: Mapping[str, Any]) -> Mapping[str, str]:
        """What is odd about the days of the ticked lines."""
        ticked = (line.line_id for line in self.lines if cleaned.get(f"take-{line.line_id}"))
        return promise_doubts(self.odd, cleaned, *(f"day-{pk}" for pk in ticked))

    def confirmed(self) -> list[ConfirmedLine]:
        """What is to be taken."""
        said = self.cleaned_data
        return [
            ConfirmedLine(pk, said[f"packs-{pk}"], said[f"price-{pk}"], said[f"day-{pk}"], said[f"note-{pk}"])
            for line in self.lines
            if (pk := line.line_id) and said[f"take-{pk}"]
        ]

    def _differs(self, line: OrderSheetLine) -> Iterator[str]:
        if not self.is_bound:
            return
        said = getattr(self, "cleaned_data", {})
        packs, price, day = (said.get(f"{what}-{line.line_id}") for what in ("packs", "price", "day"))
        if packs is not None and packs != line.packs:
            yield f"packs {line.packs} → {packs}"
        if f"price-{line.line_id}" in said and price != line.price_per_pack:
            yield f"price {line.price_says or 'none'} → {price_text(price) if price is not None else 'none'}"
        if day is not None and line.promised_on is not None and day != line.promised_on:
            later = (day - line.promised_on).days
            yield f"{abs(later)} days {'later' if later > 0 else 'sooner'}"
