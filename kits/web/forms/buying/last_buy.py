"""The forms about a part that is no longer made: how long it is to last, and the mark itself."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from kits.catalog.days.words import in_full
from kits.web.forms.days import DayField
from kits.web.request_keys import KeyForm

USUAL_YEARS, MOST_YEARS = 10, 40
NUMBER_FAULTS = ("required", "invalid", "min_value", "max_value", "max_decimal_places")
LEAST_SURE, MOST_SURE = Decimal(50), Decimal("99.99")


class LastsForm(forms.Form):
    """For how many years a part is to last, and how sure that is to be."""

    years = forms.IntegerField(
        min_value=1,
        max_value=MOST_YEARS,
        error_messages=dict.fromkeys(NUMBER_FAULTS, f"Write the years as a whole number from 1 to {MOST_YEARS}."),
    )
    sure = forms.DecimalField(
        localize=True,
        min_value=LEAST_SURE,
        max_value=MOST_SURE,
        decimal_places=2,
        error_messages=dict.fromkeys(
            NUMBER_FAULTS, f"Write how sure it is to be as a number from {LEAST_SURE} to {MOST_SURE}."
        ),
    )


class EndForm(KeyForm):
    """An item is no longer made: since when, who says so, until when it can be ordered."""

    from_on = DayField()
    last_order_on = DayField(required=False)
    source = forms.CharField(
        max_length=200,
        error_messages={"required": "Write who states it: a letter of the maker, the supplier’s word with its day."},
    )
    note = forms.CharField(required=False, max_length=500)

    def clean(self) -> dict[str, Any]:
        """Nothing can be ordered for ever: a last day lies no more than ten years from the end."""
        said = super().clean() or self.cleaned_data
        first, last = said.get("from_on"), said.get("last_order_on")
        if first and last and abs((last - first).days) > MOST_YEARS * 92:
            raise ValidationError(
                f"{in_full(first)} and {in_full(last)} lie ten years apart: correct one of the two days."
            )
        return said
