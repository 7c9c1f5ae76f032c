"""The forms of picking: a request that counts once, a line that is short or miscounted."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms

from kits.catalog.fields import QuantityFormField
from kits.picking.round_sheet import IntoBag, LineRow
from kits.web.request_keys import KeyForm

REASONS = (
    ("", "the bin was counted"),
    ("fewer in the bin than on the list", "fewer in the bin than on the list"),
    ("not found at this place", "not found at this place"),
    ("found damaged", "found damaged"),
    ("not wanted any more", "not wanted any more"),
)


class ShortForm(KeyForm):
    """How many really went into each bag, what the bin held, and why."""

    reason = forms.ChoiceField(choices=REASONS, required=False)
    words = forms.CharField(required=False, max_length=200)

    def __init__(self, line: LineRow, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.line = line
        for one in line.into:
            self.fields[bag_field(one)] = QuantityFormField(required=False, initial=one.asked.millionths)
        self.fields["counted"] = QuantityFormField(required=False)

    @property
    def bags(self) -> Iterator[tuple[IntoBag, forms.BoundField]]:
        """Each bag with its field."""
        return ((one, self[bag_field(one)]) for one in self.line.into)

    @property
    def quantities(self) -> dict[int, int]:
        """Millionths by job; a field left blank is none."""
        return {one.bag.job_id: self.cleaned_data[bag_field(one)] or 0 for one in self.line.into}

    @property
    def said(self) -> str:
        """The reason, in the words chosen and typed."""
        return ": ".join(filter(None, (self.cleaned_data["reason"], self.cleaned_data["words"].strip())))


def bag_field(one: IntoBag) -> str:
    """The name of the field of one bag."""
    return f"bag_{one.bag.number}"
