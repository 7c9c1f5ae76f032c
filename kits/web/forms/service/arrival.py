"""The forms of an arrival: how the pump came, its photos, what is signed for."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import QueryDict

from kits.planning.sheets.jobs.arrival import ArrivalSheet
from kits.service.actions import Came
from kits.web.forms.kits import ReasonForm
from kits.web.request_keys import KeyForm


class ArrivalForm(KeyForm):
    """How a pump came. What could not be read, or is not known, is ticked: nothing is left blank by chance."""

    serial = forms.CharField(required=False, max_length=100)
    serial_unread = forms.BooleanField(required=False)
    model = forms.CharField(required=False, max_length=100)
    model_unread = forms.BooleanField(required=False)
    fluid = forms.CharField(required=False, max_length=200)
    fluid_unknown = forms.BooleanField(required=False)
    flushed_by = forms.CharField(required=False, max_length=200)
    flushed_with = forms.CharField(required=False, max_length=200)
    paper_seen = forms.BooleanField(required=False)
    missing = forms.CharField(required=False, max_length=500)
    seen = forms.MultipleChoiceField(required=False, widget=forms.CheckboxSelectMultiple)
    agreed_with = forms.CharField(required=False, max_length=200)
    signed_by = forms.CharField(required=False, max_length=200)
    note = forms.CharField(required=False, max_length=1000, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, sheet: ArrivalSheet, said: QueryDict | None = None) -> None:
        super().__init__(said, initial=_written(sheet))
        self.sheet = sheet
        self.fields["seen"].choices = [(sign, sign) for sign in sheet.signs]  # type: ignore[attr-defined]
        for name in ("serial", "model", "fluid"):
            self.fields[name].widget.attrs["autocomplete"] = "off"
        self.fields["fluid"].widget.attrs["list"] = "fluids"

    def clean(self) -> dict[str, Any]:
        """Each of three things written or ticked, never both; a flushing note whole or none."""
        said = super().clean() or {}
        pairs = (
            ("serial", "serial_unread", "that it cannot be read"),
            ("model", "model_unread", "that it cannot be read"),
            ("fluid", "fluid_unknown", "that nobody knows it"),
        )
        for text, tick, means in pairs:
            if said.get(text) and said.get(tick):
                self.add_error(text, f"Both are said: write it, or tick {means}, not both.")
            elif not said.get(text) and not said.get(tick) and text not in self.errors:
                self.add_error(text, f"Nothing stands here: write it, or tick {means}.")
        by, with_what = said.get("flushed_by"), said.get("flushed_with")
        if bool(by) != bool(with_what):
            self.add_error(
                "flushed_with" if by else "flushed_by",
                f"That is half a note: write {'with what it was flushed' if by else 'who flushed it'} as well.",
            )
        elif said.get("paper_seen") and not by:
            self.add_error("flushed_by", "A paper was seen: write who flushed the pump by it, and with what.")
        return said

    @property
    def came(self) -> Came:
        """What was written."""
        said = self.cleaned_data
        texts = ("serial", "model", "fluid", "flushed_by", "flushed_with", "missing", "agreed_with", "signed_by")
        named = {name: said[name] for name in (*texts, "note")}
        return Came(**named, paper_seen=said["paper_seen"], seen="\n".join(said["seen"]))


class PhotoForm(KeyForm):
    """What photos show; the photos come beside it."""

    note = forms.CharField(required=False, max_length=200)


class SignForm(ReasonForm):
    """Which point is signed for, and what it says."""

    point = forms.CharField(max_length=60, widget=forms.HiddenInput)
    about = forms.CharField(max_length=1000, widget=forms.HiddenInput)


def _written(sheet: ArrivalSheet) -> dict[str, Any]:
    """What stands written; what was agreed to another scope is asked anew."""
    written = sheet.arrival
    if written is None:
        return {}
    names = ("serial", "model", "fluid", "flushed_by", "flushed_with", "paper_seen", "missing", "note")
    return {
        **{name: getattr(written, name) for name in names},
        "serial_unread": not written.serial,
        "model_unread": not written.model,
        "fluid_unknown": not written.fluid,
        "seen": list(written.signs),
        "agreed_with": written.agreed_with if sheet.agreed else "",
        "signed_by": written.signed_by if sheet.agreed else "",
    }
