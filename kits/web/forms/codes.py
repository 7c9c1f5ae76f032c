"""What a code on an older label means."""

from __future__ import annotations

from django import forms

from kits.picking.errors import PickRefusal
from kits.picking.scanning.photo import MOST_BYTES, read_photo
from kits.web.request_keys import KeyForm


class LabelPhotoForm(forms.Form):
    """A photo of one label."""

    photo = forms.FileField(error_messages={"required": "No photo was taken.", "empty": "The photo is empty."})

    def code(self) -> str:
        """What the code in the photo says; nothing of the photo is kept."""
        if not self.is_valid():
            raise PickRefusal(str(self.errors["photo"][0]))
        return str(read_photo(self.cleaned_data["photo"].read(MOST_BYTES + 1)))


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
