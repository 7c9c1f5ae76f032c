"""What a code on an older label means."""

from __future__ import annotations

from django import forms

from kits.web.request_keys import KeyForm


class TeachForm(KeyForm):
    """The text on a label, and the thing that it stands for."""

    text = forms.CharField(
        label="On the label",
        max_length=200,
        error_messages={"required": "Scan the label, or type what stands on it."},
    )
    means = forms.CharField(
        label="Means (such as PLACE A-12)",
        max_length=200,
        error_messages={"required": "Say what it means: PLACE, LOT, BAG, JOB, PART or ORDER, and the number."},
    )
