"""The forms of a bag and of the counter."""

from __future__ import annotations

from typing import Any

from django import forms

from kits.catalog.fields import QuantityFormField
from kits.web.forms.days import DayField
from kits.web.request_keys import KeyForm

LONG = "This has at most 100 characters: shorten it."


class HandOverForm(KeyForm):
    """Who takes a bag to the bench, and where to."""

    taken_by = forms.CharField(
        max_length=100,
        label="Taken by",
        error_messages={"required": "Write who takes it.", "max_length": LONG},
        widget=forms.TextInput(attrs={"list": "takers", "autocomplete": "off"}),
    )
    where = forms.CharField(
        max_length=100,
        required=False,
        label="To which bench (may stay blank)",
        error_messages={"max_length": LONG},
        widget=forms.TextInput(attrs={"list": "benches", "autocomplete": "off"}),
    )


class PlaceForm(KeyForm):
    """Where a bag stands."""

    place = forms.CharField(
        max_length=100,
        label="It stands at",
        error_messages={"required": "Scan the place, or choose it.", "max_length": LONG},
        widget=forms.TextInput(attrs={"list": "bag-places", "autocomplete": "off"}),
    )


class CounterForm(KeyForm):
    """How many a job gets besides, and why: by the button that was tapped, or in words of one's own."""

    quantity = QuantityFormField(initial=1_000_000, label="How many", error_messages={"required": "Write how many."})
    why = forms.CharField(max_length=200, required=False)
    other = forms.CharField(max_length=200, required=False, label="Another reason")

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if not said.get("why") and not said.get("other", "").strip():
            self.add_error("other", "Tap a reason, or write another one.")
        return said


class PaperForm(KeyForm):
    """How many were picked, and on which day."""

    quantity = QuantityFormField(label="How many were picked", error_messages={"required": "Write how many."})
    picked_on = DayField(label="On which day", error_messages={"required": "Write the day on which it was picked."})
