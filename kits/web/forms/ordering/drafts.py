"""The forms on which orders are drafted, put right and sent: what from whom, in packs, at which price."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django import forms

from kits.catalog.amounts import price_text
from kits.catalog.days.doubts import DayDoubts
from kits.catalog.days.questions import AsksAboutDays
from kits.catalog.models import Item
from kits.planning.lists.order_rows import OrderRow
from kits.purchasing.models import Supplier
from kits.purchasing.orders.order_sheet import OrderSheet, OrderSheetLine
from kits.purchasing.orders.totals import OrderTotal, total_of
from kits.purchasing.orders.writes import DraftLine, LineEdit
from kits.web.forms.days import DayField
from kits.web.forms.ordering.fields import NumberField, PacksField, PriceField
from kits.web.forms.purchasing import promise_doubts
from kits.web.request_keys import KeyForm

FIELDS = ("take", "packs", "price", "wanted")


@dataclass(frozen=True, slots=True)
class DraftGroup:
    """The lines of one supplier on the form, with their fields, and what the ticked ones come to."""

    supplier: Supplier
    number: forms.BoundField
    rows: tuple[tuple[Any, ...], ...]
    total: OrderTotal


class DraftForm(AsksAboutDays, KeyForm):
    """Which lines to draft as orders, one for each supplier: packs, price of a pack, day at our door."""

    def __init__(self, lines: Sequence[OrderRow], odd: DayDoubts, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines, self.odd = lines, odd
        named = {row.supplier for row in lines}
        self.suppliers = {one.supplier: one for one in Supplier.objects.filter(supplier__in=named)}
        for supplier in self.suppliers.values():
            self.fields[f"number-{supplier.pk}"] = NumberField(required=False)
        for line in lines:
            price = None if line.price_per_pack is None else price_text(line.price_per_pack)
            self.fields[f"take-{line.name}"] = forms.BooleanField(required=False, initial=line.is_ticked)
            self.fields[f"packs-{line.name}"] = PacksField(required=False, initial=line.packs)
            self.fields[f"price-{line.name}"] = PriceField(required=False, initial=price)
            self.fields[f"wanted-{line.name}"] = DayField(required=False, initial=line.wanted_on)

    @property
    def groups(self) -> Iterator[DraftGroup]:
        """The lines of each supplier with their fields, and what the ticked ones come to."""
        for name, some in groupby(self.lines, key=lambda row: row.supplier):
            supplier, rows = self.suppliers[name], tuple(some)
            fields = tuple((row, *(self[f"{what}-{row.name}"] for what in FIELDS)) for row in rows)
            yield DraftGroup(supplier, self[f"number-{supplier.pk}"], fields, self._total(supplier, rows))

    def clean(self) -> dict[str, Any]:
        """A ticked line has packs and a day."""
        cleaned = super().clean() or self.cleaned_data
        for line in self.lines:
            if cleaned.get(f"take-{line.name}"):
                if not cleaned.get(f"packs-{line.name}") and f"packs-{line.name}" not in self.errors:
                    self.add_error(f"packs-{line.name}", "Write how many packs, or take the tick away.")
                if not cleaned.get(f"wanted-{line.name}") and f"wanted-{line.name}" not in self.errors:
                    self.add_error(f"wanted-{line.name}", "Write the day at our door, or take the tick away.")
        return cleaned

    def doubts(self, cleaned: Mapping[str, Any]) -> Mapping[str, str]:
        """What is odd about the days of the ticked lines."""
        ticked = (line.name for line in self.lines if cleaned.get(f"take-{line.name}"))
        return promise_doubts(self.odd, cleaned, *(f"wanted-{name}" for name in ticked))

    def draft_lines(self) -> list[DraftLine]:
        """What is to be drafted."""
        taken = [line for line in self.lines if self.cleaned_data[f"take-{line.name}"]]
        items = Item.objects.in_bulk({line.item_id for line in taken})
        return [
            DraftLine(
                supplier=self.suppliers[line.supplier],
                item=items[line.item_id],
                packs=self.cleaned_data[f"packs-{line.name}"],
                pack_size=line.pack_size.millionths,
                wanted_on=self.cleaned_data[f"wanted-{line.name}"],
                price_per_pack=self.cleaned_data[f"price-{line.name}"],
                currency=line.currency,
                supplier_part_number=line.due.supplier_part_number if line.due and not line.quote else "",
                what_for=line.why,
                quote_id=line.quote.pk if line.quote else None,
            )
            for line in taken
        ]

    def numbers(self) -> dict[int, str]:
        """The order numbers that were typed, by supplier."""
        return {one.pk: self.cleaned_data[f"number-{one.pk}"] for one in self.suppliers.values()}

    def _total(self, supplier: Supplier, rows: Sequence[OrderRow]) -> OrderTotal:
        taken = [row for row in rows if self._stated("take", row)]
        return total_of(
            supplier, ((self._stated("packs", row), self._stated("price", row), row.needs_certificate) for row in taken)
        )

    def _stated(self, what: str, row: OrderRow) -> Any:
        """What a field says, as far as it can be read."""
        if not self.is_bound:
            said = {"take": row.is_ticked, "packs": row.packs, "price": row.price_per_pack}
            return said[what]
        return getattr(self, "cleaned_data", {}).get(f"{what}-{row.name}")


class DraftLinesForm(AsksAboutDays, KeyForm):
    """The lines of a draft: packs, price of a pack, day at our door; no packs take a line off."""

    def __init__(self, sheet: OrderSheet, odd: DayDoubts, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines, self.odd = [line for line in sheet.lines if line.terms_id], odd
        for line in self.lines:
            price = None if line.price_per_pack is None else price_text(line.price_per_pack)
            self.fields[f"packs-{line.terms_id}"] = PacksField(initial=line.packs)
            self.fields[f"price-{line.terms_id}"] = PriceField(required=False, initial=price)
            self.fields[f"wanted-{line.terms_id}"] = DayField(initial=line.wanted_on)

    def fields_of(self, line: OrderSheetLine) -> tuple[forms.BoundField, ...]:
        """The fields of a line: packs, price, day."""
        return tuple(self[f"{what}-{line.terms_id}"] for what in FIELDS[1:])

    def doubts(self, cleaned: Mapping[str, Any]) -> Mapping[str, str]:
        """What is odd about the days."""
        return promise_doubts(self.odd, cleaned, *(f"wanted-{line.terms_id}" for line in self.lines))

    def edits(self) -> dict[int, LineEdit]:
        """What each line is to say."""
        said = self.cleaned_data
        return {
            pk: LineEdit(said[f"packs-{pk}"] or 0, said[f"price-{pk}"], said[f"wanted-{pk}"])
            for line in self.lines
            if (pk := line.terms_id)
        }


class OrderSentForm(KeyForm):
    """The day on which an order went to its supplier."""

    sent_on = DayField()
