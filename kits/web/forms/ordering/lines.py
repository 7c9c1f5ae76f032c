"""The forms of one order line that was sent: changed, split, cancelled, asked about."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from kits.catalog.days.doubts import DayDoubts
from kits.catalog.days.questions import AsksAboutDays
from kits.catalog.fields import QuantityFormField
from kits.web.forms.days import DayField
from kits.web.forms.ordering.fields import PacksField, PriceField
from kits.web.forms.purchasing import promise_doubts
from kits.web.request_keys import KeyForm


def text_field(longest: int, missing: str) -> forms.CharField:
    """A text that has to be there."""
    says = {"required": missing, "max_length": f"That is longer than {longest} characters: shorten it."}
    return forms.CharField(max_length=longest, error_messages=says)


class LineChangeForm(KeyForm):
    """Other packs, another price, or (of a line without packs) another quantity, and why."""

    packs = PacksField(required=False)
    price = PriceField(required=False)
    quantity = QuantityFormField(required=False)
    reason = text_field(300, "No reason was given: say who said so, and why.")


class LineSplitForm(AsksAboutDays, KeyForm):
    """How many come on another day, which, and why."""

    quantity = QuantityFormField(error_messages={"required": "Write how many come on the other day."})
    promised_on = DayField()
    reason = text_field(300, "No reason was given: say who said so, and why.")

    def __init__(self, odd: DayDoubts, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.odd = odd

    def doubts(self, cleaned: Mapping[str, Any]) -> Mapping[str, str]:
        """What is odd about the day."""
        return promise_doubts(self.odd, cleaned, "promised_on")


class LineCancelForm(KeyForm):
    """Why nothing more of a line is to come."""

    reason = text_field(300, "No reason was given: say who said so, and why.")


class LineCallForm(KeyForm):
    """Who was asked about a line, what he said, and when to call again."""

    asked = text_field(200, "Nobody is named: write who was asked.")
    said = text_field(400, "Nothing is written: say what was said.")
    next_call_on = DayField(required=False)
