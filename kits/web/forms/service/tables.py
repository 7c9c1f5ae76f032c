"""The forms of the service lead's two tables: compounds in fluids, and what to open for which sign."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from kits.catalog.folding import fold
from kits.catalog.models import Item, ScopeSection
from kits.catalog.words import ItemKind
from kits.service.words import RuleSays
from kits.web.request_keys import KeyForm

WHY_SAYS = {"required": "Write why: it stands in the history beside your name."}


class FluidRuleForm(KeyForm):
    """What holds of a compound in a fluid, and who says so."""

    fluid = forms.CharField(max_length=200, error_messages={"required": "Write the fluid, such as mineral oil."})
    compound = forms.CharField(max_length=50, error_messages={"required": "Write the compound, such as EPDM."})
    says = forms.ChoiceField(choices=RuleSays.choices)
    source = forms.CharField(
        max_length=300,
        error_messages={"required": "Write where this is stated: a maker's list, a letter, a measurement of your own."},
    )
    note = forms.CharField(required=False, max_length=500)
    why = forms.CharField(max_length=500, error_messages=WHY_SAYS)

    def __init__(self, *args: Any) -> None:
        super().__init__(*args)
        self.fields["fluid"].widget.attrs |= {"list": "fluids", "autocomplete": "off"}


class SignRuleForm(KeyForm):
    """What was seen, where to look, and which scope to suggest."""

    seen = forms.CharField(max_length=200, error_messages={"required": "Write what is seen, such as vent port leaks."})
    section = forms.CharField(required=False, max_length=100)
    scope = forms.CharField(max_length=100, error_messages={"required": "Write the scope to suggest."})
    note = forms.CharField(required=False, max_length=500)
    why = forms.CharField(max_length=500, error_messages=WHY_SAYS)

    def __init__(self, *args: Any) -> None:
        super().__init__(*args)
        self.fields["seen"].widget.attrs |= {"list": "known-signs", "autocomplete": "off"}
        self.fields["scope"].widget.attrs |= {"list": "scopes", "autocomplete": "off"}
        self.fields["section"].widget.attrs |= {"list": "sections", "autocomplete": "off"}

    def clean_section(self) -> Item | None:
        """The assembly of this number; None for wherever the scope opens."""
        number = self.cleaned_data["section"]
        if not number:
            return None
        item = Item.objects.by_number(number)
        if item is None or item.kind not in (ItemKind.ASSEMBLY, ItemKind.PUMP):
            raise ValidationError(f"There is no assembly {number}: write the number of one that a scope opens.")
        return item

    def clean(self) -> dict[str, Any]:
        """A scope that some pump has, and that opens the section somewhere."""
        said = super().clean() or {}
        scope, section = said.get("scope"), said.get("section")
        if scope and "section" not in self.errors:
            rows = ScopeSection.objects.filter(folded=fold(scope))
            if not rows.exists():
                known = ", ".join(dict.fromkeys(ScopeSection.objects.values_list("scope", flat=True))) or "none yet"
                self.add_error("scope", f"No pump has a scope “{scope}”; known are: {known}.")
            elif section and not rows.filter(section=section).exists():
                self.add_error("section", f"No scope “{scope}” opens {section}: name a section that it opens.")
        return said
