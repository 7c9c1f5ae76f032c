"""The form of a finding that is named on a job."""

from __future__ import annotations

from django import forms

LONGEST_NOTE = 500


class FindingForm(forms.Form):
    """What was found, in which section, and a note."""

    finding = forms.CharField(
        max_length=200,
        error_messages={
            "required": "No finding was chosen: choose what was found.",
            "max_length": "The name of a finding has at most 200 characters: choose one from the list.",
        },
    )
    section = forms.CharField(required=False, max_length=100)
    note = forms.CharField(
        required=False,
        max_length=LONGEST_NOTE,
        error_messages={"max_length": f"A note has at most {LONGEST_NOTE} characters: shorten it."},
    )
