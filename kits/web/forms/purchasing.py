"""The forms of purchasing: an order, another promise, a reply that comes back, and what is accepted of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from kits.catalog.days.doubts import DayDoubts
from kits.catalog.days.questions import AsksAboutDays
from kits.catalog.fields import QuantityFormField
from kits.catalog.models import Item
from kits.exchange.files.file_guard import MOST_BYTES
from kits.planning.lists.order_rows import OrderRow
from kits.purchasing.writes import NewLine
from kits.web.forms.days import DayField
from kits.web.request_keys import KeyForm


def promise_doubts(odd: DayDoubts, cleaned: Mapping[str, Any], *names: str) -> dict[str, str]:
    """What is odd about promises, by field; a day that has passed is refused where it is stored."""
    days = {name: day for name in names if (day := cleaned.get(name)) is not None and day >= odd.today}
    return {name: odd.of_promise(day) for name, day in days.items()}


class ReplyFileForm(forms.Form):
    """A shortage workbook that came back."""

    filled = forms.FileField(
        error_messages={
            "required": "No file was chosen: choose the shortage workbook that came back.",
            "empty": "The file is empty: save or copy it again, then bring it.",
        }
    )

    def clean_filled(self) -> Any:
        """The file, if it is of a size that can be read."""
        file = self.cleaned_data["filled"]
        if file.size > MOST_BYTES:
            raise ValidationError(
                f"The file has {file.size // 2**20} MB, more than the {MOST_BYTES // 2**20} that are read: "
                "save only the sheet Shortages."
            )
        return file


class PromiseForm(AsksAboutDays, KeyForm):
    """Another day for an order line, and why."""

    promised_on = DayField()
    reason = forms.CharField(
        max_length=400,
        error_messages={
            "required": "No reason was given: say who said so, and why.",
            "max_length": "The reason is longer than 400 characters: shorten it.",
        },
    )

    def __init__(self, odd: DayDoubts, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.odd = odd

    def doubts(self, cleaned: Mapping[str, Any]) -> Mapping[str, str]:
        """What is odd about the new day."""
        return promise_doubts(self.odd, cleaned, "promised_on")


class OrderForm(AsksAboutDays, KeyForm):
    """Which lines to order from one supplier, under which number: what he quoted, and what the plan asks for."""

    order = forms.CharField(
        max_length=100,
        error_messages={
            "required": "No order number was given: write the number that the supplier gets to see.",
            "max_length": "An order number has at most 100 characters: shorten it.",
        },
    )

    def __init__(self, lines: Sequence[OrderRow], odd: DayDoubts, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines, self.odd = lines, odd
        for line in lines:
            self.fields[f"take-{line.name}"] = forms.BooleanField(required=False, initial=line.is_ticked)
            self.fields[f"quantity-{line.name}"] = QuantityFormField(required=False, initial=line.quantity.millionths)
            self.fields[f"promised-{line.name}"] = DayField(required=False, initial=line.promised_on)

    @property
    def rows(self) -> Iterator[tuple[OrderRow, forms.BoundField, forms.BoundField, forms.BoundField]]:
        """Each line with its fields: tick, quantity, day."""
        return (
            (line, self[f"take-{line.name}"], self[f"quantity-{line.name}"], self[f"promised-{line.name}"])
            for line in self.lines
        )

    def clean(self) -> dict[str, Any]:
        """A ticked line has a quantity and a day."""
        cleaned = super().clean() or self.cleaned_data
        for line in self.lines:
            if cleaned.get(f"take-{line.name}"):
                if not cleaned.get(f"quantity-{line.name}") and f"quantity-{line.name}" not in self.errors:
                    self.add_error(f"quantity-{line.name}", "Write how many, or take the tick away.")
                if not cleaned.get(f"promised-{line.name}") and f"promised-{line.name}" not in self.errors:
                    self.add_error(f"promised-{line.name}", "Write the promised day, or take the tick away.")
        return cleaned

    def doubts(self, cleaned: Mapping[str, Any]) -> Mapping[str, str]:
        """What is odd about the days of the ticked lines."""
        ticked = (line.name for line in self.lines if cleaned.get(f"take-{line.name}"))
        return promise_doubts(self.odd, cleaned, *(f"promised-{name}" for name in ticked))

    def new_lines(self) -> list[NewLine]:
        """What is to be ordered."""
        taken = [line for line in self.lines if self.cleaned_data[f"take-{line.name}"]]
        items = Item.objects.in_bulk({line.item_id for line in taken})
        return [
            NewLine(
                items[line.item_id],
                self.cleaned_data[f"quantity-{line.name}"],
                self.cleaned_data[f"promised-{line.name}"],
                line.quote.pk if line.quote else None,
            )
            for line in taken
        ]
