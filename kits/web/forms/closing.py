"""The forms of the end of a job: its bag, and the steps that its pump goes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms

from kits.catalog.fields import QuantityFormField
from kits.picking.closing.bag_decision import LeftOver
from kits.picking.closing.close_sheet import FORGOTTEN, SURPLUS, USED, CloseSheet, LotInBag
from kits.picking.words import LeftGoes, PumpAnswer
from kits.schedule.stages import TO_BUILD
from kits.schedule.words import Stage
from kits.web.forms.kits import ReasonForm
from kits.web.request_keys import KeyForm

ANSWERS = ((SURPLUS, "left over"), (USED, "used after all"), (FORGOTTEN, "forgotten"))
LOOK = (FORGOTTEN, "forgotten?")
TOO_LONG = "This has at most 500 characters: shorten it."


class CloseForm(KeyForm):
    """What is left over of each lot in the bag, and where it goes."""

    why = forms.CharField(required=False, max_length=500, error_messages={"max_length": TOO_LONG})

    def __init__(self, sheet: CloseSheet, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sheet = sheet
        places = [("", "choose a place"), *((str(pk), place) for pk, place in sheet.places)]
        for lot in sheet.bag:
            self.fields[f"answer_{lot.lot_id}"] = forms.ChoiceField(choices=ANSWERS, required=False, initial=lot.likely)
            left = lot.surplus.millionths or None
            self.fields[f"left_{lot.lot_id}"] = QuantityFormField(required=False, initial=left)
            goes = [*LeftGoes.choices, *([] if lot.surplus else [LOOK])]
            self.fields[f"goes_{lot.lot_id}"] = forms.ChoiceField(choices=goes, required=False)
            self.fields[f"place_{lot.lot_id}"] = forms.ChoiceField(
                choices=places, required=False, initial=str(lot.place_id or "")
            )
            self.fields[f"why_{lot.lot_id}"] = forms.CharField(required=False, max_length=200)

    @property
    def asked(self) -> Iterator[tuple[LotInBag, str, tuple[forms.BoundField, ...]]]:
        """The lots that are asked about, each with the answer that is chosen and its fields."""
        return ((lot, self[f"answer_{lot.lot_id}"].value(), self._fields_of(lot)) for lot in self.sheet.asked)

    @property
    def lots(self) -> Iterator[tuple[LotInBag, tuple[forms.BoundField, ...]]]:
        """Each other lot with its fields: left over, where it goes, the place, why."""
        return ((lot, self._fields_of(lot)) for lot in self.sheet.as_listed)

    def _fields_of(self, lot: LotInBag) -> tuple[forms.BoundField, ...]:
        return tuple(self[f"{name}_{lot.lot_id}"] for name in ("left", "goes", "place", "why"))

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        for lot in self.sheet.bag:
            if said.get(f"answer_{lot.lot_id}") in (SURPLUS, FORGOTTEN) and not said.get(f"left_{lot.lot_id}"):
                self.add_error(f"left_{lot.lot_id}", "Write how many, or choose that they were used after all.")
        return said

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
            if self._became(lot) == SURPLUS
        ]

    def forgotten(self) -> list[tuple[int, int]]:
        """The lots, and how many millionths of each, that may be missing in the pump."""
        said = self.cleaned_data
        return [(lot.lot_id, said[f"left_{lot.lot_id}"]) for lot in self.sheet.bag if self._became(lot) == FORGOTTEN]

    def _became(self, lot: LotInBag) -> str:
        said = self.cleaned_data
        if said[f"answer_{lot.lot_id}"]:
            return str(said[f"answer_{lot.lot_id}"])
        if not said[f"left_{lot.lot_id}"]:
            return USED
        return FORGOTTEN if said[f"goes_{lot.lot_id}"] == FORGOTTEN else SURPLUS


class FoundInPumpForm(KeyForm):
    """What was found when somebody looked into the pump."""

    answer = forms.ChoiceField(choices=PumpAnswer.choices)


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
