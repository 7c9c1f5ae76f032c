"""The forms in which days are closed and opened again."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django import forms

from kits.web.forms.days import DayField

MOST_DAYS = 60


class CloseDaysForm(forms.Form):
    """From which day to which the shop is closed, and what for."""

    first = DayField()
    last = DayField(required=False)
    name = forms.CharField(
        max_length=200,
        error_messages={"required": "Nothing says why the shop is closed: write it, such as Easter Monday."},
    )

    def __init__(self, today: date, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def clean(self) -> dict[str, Any]:
        """A stretch that lies ahead and is not endless."""
        said = super().clean() or {}
        first, last = said.get("first"), said.get("last") or said.get("first")
        if first and first < self.today:
            self.add_error("first", "This day has passed: choose one from today on.")
        elif first and last and last < first:
            self.add_error("last", "The last day lies before the first: change one of the two.")
        elif first and last and (last - first).days >= MOST_DAYS:
            self.add_error("last", f"That is more than {MOST_DAYS} days: close them in parts.")
        return said

    @property
    def days(self) -> list[date]:
        """Every day from the first to the last."""
        first = self.cleaned_data["first"]
        last = self.cleaned_data["last"] or first
        return [first + timedelta(days=place) for place in range((last - first).days + 1)]


class OpenDaysForm(forms.Form):
    """On which days the shop works after all, and why."""

    day = forms.TypedMultipleChoiceField(
        coerce=date.fromisoformat,
        error_messages={
            "required": "No day is ticked: tick those on which the shop works after all.",
            "invalid_choice": "The shop is not closed on %(value)s any more: look at the list again.",
        },
    )
    why = forms.CharField(
        max_length=500, error_messages={"required": "Nothing says why the shop works on these days: write it."}
    )

    def __init__(self, closed: list[date], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["day"].choices = [(on.isoformat(), on.isoformat()) for on in closed]  # type: ignore[attr-defined]
