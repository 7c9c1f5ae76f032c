"""The forms of the end of a job: its bag, and the steps that its pump goes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms

from kits.catalog.fields import QuantityFormField
from kits.picking.closing.bag_decision import LeftOver
from kits.picking.closing.close_sheet import CloseSheet, LotInBag
from kits.picking.words import LeftGoes
from kits.schedule.stages import TO_BUILD
from kits.schedule.words import Stage
from kits.web.forms.kits import ReasonForm
from kits.web.request_keys import KeyForm

TOO_LONG = "This has at most 500 characters: shorten it."


class CloseForm(KeyForm):
    """What is left over of each lot in the bag, and where it goes."""

    why = forms.CharField(required=False, max_length=500, error_messages={"max_length": TOO_LONG})

    def __init__(self, sheet: CloseSheet, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sheet = sheet
        places = [("", "choose a place"), *((str(pk), place) for pk, place in sheet.places)]
        for lot in sheet.bag:
            self.fields[f"left_{lot.lot_id}"] = QuantityFormField(required=False)
            self.fields[f"goes_{lot.lot_id}"] = forms.ChoiceField(choices=LeftGoes.choices, required=False)
            self.fields[f"place_{lot.lot_id}"] = forms.ChoiceField(
                choices=places, required=False, initial=str(lot.place_id or "")
            )
            self.fields[f"why_{lot.lot_id}"] = forms.CharField(required=False, max_length=200)

    @property
    def lots(self) -> Iterator[tuple[LotInBag, tuple[forms.BoundField, ...]]]:
        """Each lot with its fields: left over, where it goes, the place, why."""
        names = ("left", "goes", "place", "why")
        return ((lot, tuple(self[f"{name}_{lot.lot_id}"] for name in names)) for lot in self.sheet.bag)

    def decisions(self) -> list[LeftOver]:
        """What was decided on every lot of which something is left."""
        said = self.cleaned_data
        return [
            LeftOver(
                lot_id=lot.lot_id,
                quantity=said[f"left_{lot.lot_id}"],
                goes=LeftGoes(said[f"goes_{lot.lot_id}"] or LeftGoes.BACK),
                place_id=int(said[f"place_{lot.lot_id}"] or 0) or None,
                reason=said[f"why_{lot.lot_id}"],
            )
            for lot in self.sheet.bag
            if said[f"left_{lot.lot_id}"]
        ]


class StepForm(KeyForm):
    """A step of a job: the stage that it was seen at, and the words that belong to the step."""

    seen = forms.ChoiceField(choices=Stage.choices)
    says = forms.CharField(required=False, max_length=500, error_messages={"max_length": TOO_LONG})


class StageForm(KeyForm):
    """Where a pump is that is still to be built."""

    seen = forms.ChoiceField(choices=Stage.choices)
    stage = forms.ChoiceField(choices=[(one.value, one.label.lower()) for one in TO_BUILD])
    says = forms.CharField(required=False, max_length=500, error_messages={"max_length": TOO_LONG})


class ConcedeForm(ReasonForm):
    """Which suspicion is set aside for the pump of one job, and why."""

    suspicion = forms.IntegerField(widget=forms.HiddenInput)
