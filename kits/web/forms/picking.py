"""The forms of picking: a request that counts once, a line that is short or miscounted."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms

from kits.catalog.errors import Refusal
from kits.catalog.fields import QuantityFormField
from kits.picking.errors import PickRefusal
from kits.picking.rounds.line_check import Damage, about_job
from kits.picking.rounds.lines import IntoBag, LineRow
from kits.picking.words import LeftGoes
from kits.web.forms.codes import LabelPhotoForm
from kits.web.request_keys import KeyForm

FAULTS = ("nicked or cut", "pitted", "bent", "cracked or hard", "dirty", "its packet is torn")
EMPTY = "the bin was empty"
FEWER, NOT_FOUND = "fewer in the bin than on the list", "not found at this place"
REASONS = (("", "the bin was counted"), *((says, says) for says in (FEWER, NOT_FOUND, "not wanted any more")))
WAYS = [(way.value, way.label.lower()) for way in (LeftGoes.QUARANTINE, LeftGoes.SCRAP)]
NOT_COUNTED = "Write how many good ones lay there, 0 if none did: else the next round leads to this place again."
NONE_DAMAGED = "Write how many are damaged, or say nothing of what is wrong with them."
NOT_SAID = "Write what is wrong with them: whoever decides about them reads it."


class ShortForm(KeyForm):
    """How many really went into each bag, what the bin held and what of it was damaged, and why."""

    reason = forms.ChoiceField(choices=REASONS, required=False)
    words = forms.CharField(required=False, max_length=200)
    damaged = QuantityFormField(required=False, label="How many, besides the good ones")
    goes = forms.ChoiceField(choices=WAYS, required=False)
    fault = forms.ChoiceField(choices=(("", "something else"), *((says, says) for says in FAULTS)), required=False)
    wrong = forms.CharField(required=False, max_length=200)

    def __init__(self, line: LineRow, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.line = line
        for one in line.into:
            says = f"{one.bag.job}, of {one.asked.text}"
            self.fields[bag_field(one)] = QuantityFormField(required=False, initial=one.asked.millionths, label=says)
        book = line.book.text if line.book else ""
        says = f"Good pieces in it before any was taken, by the book {book or 'none'}"
        self.fields["counted"] = QuantityFormField(required=False, label=says)

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("reason") in (FEWER, NOT_FOUND) and said.get("counted") is None and "counted" not in self.errors:
            self.add_error("counted", NOT_COUNTED)
        wrong = said.get("fault") or said.get("wrong", "").strip()
        if said.get("damaged") and not wrong:
            self.add_error("wrong", NOT_SAID)
        if wrong and not said.get("damaged") and "damaged" not in self.errors:
            self.add_error("damaged", NONE_DAMAGED)
        return said

    @property
    def damage(self) -> Damage | None:
        """What was found damaged."""
        said = self.cleaned_data
        if not said["damaged"]:
            return None
        wrong = ": ".join(filter(None, (said["fault"], said["wrong"].strip())))
        return Damage(said["damaged"], LeftGoes(said["goes"] or LeftGoes.QUARANTINE), wrong)

    def refuse(self, error: Refusal) -> None:
        """Put a refusal beside the field that it is about, before all of them where it is about none."""
        about = getattr(error, "about", "")
        of_job = {about_job(one.bag.job_id): bag_field(one) for one in self.line.into}
        self.add_error(of_job.get(about, about) or None, str(error))

    @property
    def bags(self) -> Iterator[forms.BoundField]:
        """The field of each bag."""
        return (self[bag_field(one)] for one in self.line.into)

    @property
    def quantities(self) -> dict[int, int]:
        """Millionths by job; a field left blank is none."""
        return {one.bag.job_id: self.cleaned_data[bag_field(one)] or 0 for one in self.line.into}

    @property
    def said(self) -> str:
        """The reason, in the words chosen and typed."""
        return ": ".join(filter(None, (self.cleaned_data["reason"], self.cleaned_data["words"].strip())))


class ScanForm(KeyForm):
    """A code scanned, typed, or photographed before a line."""

    code = forms.CharField(max_length=200, required=False)

    def said(self) -> str:
        """The code; out of the photo, where there is one."""
        code = str(self.cleaned_data["code"])
        if not code and "photo" in self.files:
            return LabelPhotoForm(self.data, self.files).code()
        if not code:
            raise PickRefusal("Nothing was scanned: scan the bin, the packet or a bag.")
        return code


def bag_field(one: IntoBag) -> str:
    """The name of the field of one bag."""
    return f"bag_{one.bag.number}"
