"""The field for a day, typed or chosen."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

DAY_SAYS = "“%(value)s” is no day: write it as 2026-03-04."


class DayField(forms.DateField):
    """A day, typed or chosen, and refused with what was typed."""

    widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(input_formats=["%Y-%m-%d"], **kwargs)
        self.error_messages["required"] = "No day was given: write it as 2026-03-04."

    def to_python(self, value: Any) -> date | None:
        """The day, or a sentence that quotes what was typed."""
        try:
            return super().to_python(value)
        except ValidationError:
            raise ValidationError(DAY_SAYS, params={"value": value}) from None
