"""Forms that ask once about days that can hardly be meant, and take them when somebody ticks that they are."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from typing import Any

from django import forms

from kits.catalog.days.doubts import asked

MEANT = "meant"


class TickWhenAsked(forms.HiddenInput):
    """Nothing to be seen as long as nothing is asked, then a tick that stands for what was."""

    asks = ""

    def ask(self, about: str) -> None:
        """Show the tick."""
        self.asks, self.input_type = about, "checkbox"

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        """A tick keeps standing where the same is asked again."""
        ticked = {"checked": True} if self.asks and value == self.asks else {}
        return super().get_context(name, self.asks or value, {**(attrs or {}), **ticked})


class AsksAboutDays(forms.Form):
    """A form with days. The tick holds for the very days that were asked about, not for others typed since."""

    meant = forms.CharField(required=False, widget=TickWhenAsked, label="The day is meant as it stands")

    @abstractmethod
    def doubts(self, cleaned: Mapping[str, Any]) -> Mapping[str, str]:
        """What is odd about the days, by field; an empty text where nothing is."""

    def clean(self) -> dict[str, Any]:
        """Ask where a day is odd and not said to be meant."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        odd = {name: doubt for name, doubt in self.doubts(cleaned).items() if doubt}
        about = "; ".join(f"{name} {cleaned[name]}" for name in odd)
        if odd:
            self.fields[MEANT].widget.ask(about)
        if about != cleaned.get(MEANT, ""):
            for name, doubt in odd.items():
                self.add_error(name, asked(doubt, "correct it, or tick below that it is meant"))
        return cleaned
