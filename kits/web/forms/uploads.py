"""The forms by which lists come in: files, pasted cells, indented lists."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, cast

from django import forms

from kits.catalog.words import AtRebuild, ItemKind, StockUnit
from kits.exchange.columns.catalog_layouts import ITEMS, STRUCTURE
from kits.exchange.columns.stock_layouts import LOTS
from kits.exchange.columns.work_layouts import SCHEDULE
from kits.exchange.problems.findings import MissingItem
from kits.exchange.reading.indented.shapes import SAYS
from kits.exchange.reading.indented_list import ListReading
from kits.exchange.uploads.new_items import COLUMNS
from kits.web.forms.sign_in import UploadForm

SHEETS_TO_PASTE = (SCHEDULE, ITEMS, STRUCTURE, LOTS)
ROWS_OF = {"Schedule": "jobs", "Items": "items", "Structure": "structure lines", "Lots": "lots"}
INDENTED = "indented"
"""Chosen in place of a list: the sheet says what holds what by its depth."""
MOST_NEW_ITEMS = 400
"""Rows of one review; a list that lacks more is reviewed in parts."""


class ListsForm(UploadForm):
    """Files, and the sheets of which everything that they do not name is removed."""

    replaced = forms.MultipleChoiceField(
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": "%(value)s is no sheet that you may replace: choose some of those shown."},
    )

    def __init__(self, sheets: Sequence[str], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(forms.MultipleChoiceField, self.fields["replaced"]).choices = [(name, name) for name in sheets]


class PasteForm(forms.Form):
    """Cells copied in a spreadsheet."""

    cells = forms.CharField(
        strip=False,
        widget=forms.Textarea,
        error_messages={"required": "Nothing was pasted: copy the rows in the spreadsheet and paste them here."},
    )
    parent = forms.CharField(required=False, max_length=100)


class IndentedForm(forms.Form):
    """A list in which what lies inside is indented, and what the list itself does not say."""

    cells = forms.CharField(
        strip=False,
        widget=forms.Textarea,
        error_messages={"required": "Nothing was pasted: copy the list and paste it here."},
    )
    shape = forms.ChoiceField(required=False, choices=[("", "find out"), *SAYS.items()])
    parent = forms.CharField(required=False, max_length=100)
    at_rebuild = forms.ChoiceField(
        choices=[("", "choose"), *((word.value, word.label.lower()) for word in AtRebuild if word != AtRebuild.OPEN)],
        error_messages={
            "required": "Choose what happens at a rebuild to parts of which neither the list nor the records say it."
        },
    )
    pump = forms.CharField(required=False, max_length=100)

    def reading(self) -> ListReading:
        """How the list is to be read."""
        said = self.cleaned_data
        return ListReading(said["shape"], said["parent"].strip(), said["at_rebuild"], said["pump"].strip())


class NewItemForm(forms.Form):
    """A number that a list names and nobody has, with what is needed to keep it as an item."""

    KINDS = ItemKind.values
    UNITS = StockUnit.values

    take = forms.BooleanField(required=False)
    part_number = forms.CharField(max_length=100, widget=forms.HiddenInput)
    description = forms.CharField(required=False, max_length=500)
    kind = forms.ChoiceField(choices=ItemKind.choices)
    stock_unit = forms.ChoiceField(choices=StockUnit.choices)

    def __init__(self, missing: MissingItem, typed: Mapping[str, Any] | None, prefix: str) -> None:
        known = {"part_number": missing.number, "description": missing.what or missing.number, "kind": missing.kind}
        super().__init__(typed, prefix=prefix, initial={"take": True, **known, "stock_unit": missing.unit})
        self.alike = missing.alike

    def clean(self) -> dict[str, Any]:
        """What is ticked says what it is; only parts are measured."""
        said = super().clean() or {}
        if said.get("take"):
            if not said.get("description", "").strip():
                self.add_error("description", "Say what it is, or take the tick away.")
            if said.get("kind", "") != ItemKind.PART and said.get("stock_unit", StockUnit.EACH) != StockUnit.EACH:
                self.add_error("stock_unit", "Only parts are measured: write each.")
        return said

    def row(self) -> dict[str, str]:
        """The row of Items."""
        return {name: str(self.cleaned_data[name]).strip() for name in COLUMNS}


def new_item_forms(missing: Sequence[MissingItem], typed: Mapping[str, Any] | None) -> list[NewItemForm]:
    """A form for each missing number, with what the list says of it."""
    return [NewItemForm(one, typed, str(place)) for place, one in enumerate(missing)]
