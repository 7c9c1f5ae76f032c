"""The forms by which lists come in: files, pasted cells, indented lists."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

from django import forms

from kits.catalog.words import AtRebuild
from kits.exchange.reading.indented_lines import SAYS
from kits.exchange.reading.indented_structure import ListReading
from kits.exchange.sheets.layouts import SCHEDULE, STRUCTURE
from kits.web.forms import UploadForm

SHEETS_TO_PASTE = (SCHEDULE, STRUCTURE)


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
