"""The forms in which it is said what a kit fits and what a scope opens."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from kits.catalog.models import Item
from kits.catalog.words import ItemKind
from kits.planning.fitting.queries import SectionChoice

WHY = forms.CharField(
    max_length=500,
    error_messages={"required": "Write why: it stands in the history beside your name."},
)
_OPTION = forms.CharField(required=False, max_length=300)


class KitFitForm(forms.Form):
    """What a kit fits, under which conditions, and how far one kit goes."""

    fits = forms.CharField(
        max_length=100, error_messages={"required": "Nothing was named: write the number of the assembly or pump."}
    )
    option = _OPTION
    instances = forms.IntegerField(initial=1, min_value=1, max_value=1000)
    set_name = forms.CharField(required=False, max_length=100)
    preferred = forms.BooleanField(required=False)
    why = WHY

    def clean_fits(self) -> Item:
        """The assembly or pump of this number."""
        number = self.cleaned_data["fits"]
        item = Item.objects.by_number(number)
        if item is None:
            raise ValidationError(f"There is no item {number}: write the number of an assembly or pump from the list.")
        if item.kind not in (ItemKind.ASSEMBLY, ItemKind.PUMP):
            raise ValidationError(f"{item.part_number} is a {item.kind}: a kit fits an assembly or a pump.")
        return item


class TakeAwayForm(forms.Form):
    """A fit that is taken away, and why."""

    fit = forms.IntegerField(min_value=1)
    why = WHY


class ScopeForm(forms.Form):
    """A scope: its name, how many of each section it opens, and what goes for all of them."""

    scope = forms.CharField(
        max_length=100, error_messages={"required": "The scope has no name: write one, such as full reseal."}
    )
    use_kits = forms.BooleanField(required=False)
    signed_for = forms.BooleanField(required=False)
    option = _OPTION
    why = WHY
    seen = forms.CharField(max_length=20)

    def __init__(self, sections: Sequence[SectionChoice], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sections = sections
        for section in sections:
            most = f"The pump holds {section.held}: write {section.held} or fewer."
            self.fields[f"open-{section.item}"] = forms.IntegerField(
                required=False,
                min_value=0,
                max_value=section.held,
                initial=section.opened or None,
                error_messages={"max_value": most},
            )

    def rows(self) -> list[tuple[SectionChoice, forms.BoundField]]:
        """Each section with its field."""
        return [(section, self[f"open-{section.item}"]) for section in self.sections]

    def counts(self) -> dict[int, int]:
        """How many of which section are opened; a blank or 0 opens none."""
        said = ((section.item, self.cleaned_data[f"open-{section.item}"]) for section in self.sections)
        return {item: count for item, count in said if count}
