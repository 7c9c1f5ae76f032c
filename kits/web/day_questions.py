"""Forms that ask once about days that can hardly be meant, and take them when somebody ticks that they are."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from kits.catalog.day_doubts import asked


class AsksAboutDays(forms.Form):
    """A form with days. The tick holds for the very days that were asked about, not for others typed since."""

    meant = forms.CharField(required=False)

    def doubts(self, cleaned: Mapping[str, Any]) -> Mapping[str, str]:
        """What is odd about the days, by field; an empty text where nothing is."""
        raise NotImplementedError

    def clean(self) -> dict[str, Any]:
        """Ask where a day is odd and not said to be meant."""
        cleaned = super().clean() or self.cleaned_data
        odd = {name: doubt for name, doubt in self.doubts(cleaned).items() if doubt}
        self.asked = "; ".join(f"{name} {cleaned[name]}" for name in odd)
        if self.asked != cleaned.get("meant", ""):
            for name, doubt in odd.items():
                self.add_error(name, asked(doubt, "correct it, or tick below that it is meant"))
        return cleaned
