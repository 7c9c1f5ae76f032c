"""The forms of requests: what to ask whom, when it was sent, and an answer that is typed in."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from django import forms

from kits.catalog.fields import QuantityFormField
from kits.catalog.models import Item
from kits.planning.buying.lines_to_ask import LineToAsk
from kits.purchasing.asking.actions import WantedLine
from kits.purchasing.asking.request_list import RequestSheet
from kits.purchasing.models import Supplier
from kits.web.forms.days import DayField
from kits.web.request_keys import KeyForm

TYPED = (
    ("price", "Price per pack"),
    ("pack", "Pack size"),
    ("packs", "Packs"),
    ("promised", "Promised at our door"),
    ("rest", "The rest on"),
    ("alternative", "Alternative number"),
    ("refused", "No bid"),
    ("note", "Your note"),
    ("valid", "Price holds until"),
    ("from", "From packs"),
    ("then", "Price per pack from there"),
    ("from_next", "From packs, next"),
    ("then_next", "Price per pack from there, next"),
)
"""The fields of an answer that is typed in, and the headings under which the workbook has them."""


class RequestForm(KeyForm):
    """Which lines to ask of which suppliers, and until when."""

    reply_by = DayField()
    note = forms.CharField(required=False, max_length=400)
    also_new = forms.BooleanField(required=False)

    def __init__(self, lines: Sequence[LineToAsk], suppliers: Sequence[Supplier], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines, self.suppliers = lines, suppliers
        chosen = kwargs.get("initial", {}).get("suppliers", ())
        for supplier in suppliers:
            self.fields[f"ask-{supplier.pk}"] = forms.BooleanField(required=False, initial=supplier.supplier in chosen)
        for line in lines:
            self.fields[f"take-{line.name}"] = forms.BooleanField(required=False, initial=line.is_ticked)
            self.fields[f"quantity-{line.name}"] = QuantityFormField(required=False, initial=line.short.millionths)
            self.fields[f"wanted-{line.name}"] = DayField(required=False, initial=line.wanted_on)
            self.fields[f"note-{line.name}"] = forms.CharField(required=False, max_length=200)

    @property
    def rows(self) -> Iterator[tuple[LineToAsk, dict[str, forms.BoundField]]]:
        """Each line with its fields: tick, quantity, day, note."""
        for line in self.lines:
            yield line, {name: self[f"{name}-{line.name}"] for name in ("take", "quantity", "wanted", "note")}

    @property
    def asked(self) -> Iterator[tuple[Supplier, forms.BoundField]]:
        """Each supplier with the tick that asks him."""
        return ((supplier, self[f"ask-{supplier.pk}"]) for supplier in self.suppliers)

    def clean(self) -> dict[str, Any]:
        """A ticked line has a quantity."""
        cleaned = super().clean() or self.cleaned_data
        for line in self.lines:
            name = f"quantity-{line.name}"
            if cleaned.get(f"take-{line.name}") and not cleaned.get(name) and name not in self.errors:
                self.add_error(name, "Write how many, or take the tick away.")
        return cleaned

    def chosen_suppliers(self) -> list[Supplier]:
        """Who is to be asked."""
        return [supplier for supplier in self.suppliers if self.cleaned_data[f"ask-{supplier.pk}"]]

    def wanted_lines(self) -> list[WantedLine]:
        """What is to be asked."""
        said = self.cleaned_data
        taken = [line for line in self.lines if said[f"take-{line.name}"]]
        items = Item.objects.in_bulk({line.due.item_id for line in taken})
        return [
            WantedLine(
                item=items[line.due.item_id],
                why=line.due.why,
                quantity=said[f"quantity-{line.name}"],
                wanted_on=said[f"wanted-{line.name}"],
                oldest_cure=line.oldest_cure,
                note=said[f"note-{line.name}"],
            )
            for line in taken
        ]


class SentForm(KeyForm):
    """The day on which a request was sent."""

    sent_on = DayField()


class TypedAnswerForm(forms.Form):
    """An answer as it was told or written on paper: it is read as the workbook is, with the same questions."""

    def __init__(self, sheet: RequestSheet, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sheet = sheet
        for line in sheet.lines:
            for name, words in TYPED:
                self.fields[f"{name}-{line.place}"] = forms.CharField(required=False, max_length=400, label=words)

    @property
    def rows(self) -> Iterator[tuple[Any, dict[str, forms.BoundField]]]:
        """Each line with its fields by name."""
        for line in self.sheet.lines:
            yield line, {name: self[f"{name}-{line.place}"] for name, _ in TYPED}

    def clean(self) -> dict[str, Any]:
        """Something has to be typed."""
        cleaned = super().clean() or self.cleaned_data
        if not any(cleaned.values()):
            self.add_error(None, "Nothing was typed, so there is nothing to take up: fill in at least one line.")
        return cleaned

    def as_text(self, day: date) -> bytes:
        """What was typed as the text of a sheet, so that it is read and asked about as a workbook is."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\r\n")
        writer.writerow(["Key", "Our number", *(words for _, words in TYPED), "Typed on"])
        for line in self.sheet.lines:
            said = [self.cleaned_data[f"{name}-{line.place}"] for name, _ in TYPED]
            if any(said):
                writer.writerow([line.key, line.part_number, *said, day.isoformat()])
        return out.getvalue().encode("utf-8-sig")
