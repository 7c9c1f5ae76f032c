"""The forms of purchasing: another promise, and a reply that comes back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from kits.catalog.days.doubts import DayDoubts
from kits.catalog.days.questions import AsksAboutDays
from kits.exchange.files.file_guard import MOST_BYTES
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
