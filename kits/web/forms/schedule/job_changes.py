"""The form in which several jobs are changed at once."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any, cast

from django import forms

from kits.exchange.reading.changed_jobs import JobsChange
from kits.schedule.stages import OPENED_ON_ITS_PAGE, TO_BUILD, is_opened_by
from kits.schedule.words import Stage
from kits.web.forms.days import DayField
from kits.web.forms.schedule.trial import PRIORITY_SAYS, QUANTITY_SAYS

FARTHEST = 500
BY_SAYS = f"Write by how many working days, {-FARTHEST} to {FARTHEST}: -3 is three days earlier."
WHY_SAYS = "Nothing says why: write it in a few words, it stands beside each job from then on."
NOTHING_CHANGES = "Nothing would change: say by how many days, into which batch, or what else."
AS_IT_IS = "as it is"
STAGES = (
    ("", AS_IT_IS),
    *((stage.value, f"pump {stage.label.lower()}") for stage in TO_BUILD),
    (Stage.HELD.value, "held"),
    (Stage.CANCELLED.value, "cancelled"),
)


class WhyField(forms.CharField):
    """Why jobs are changed, on one line."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=500, error_messages={"required": WHY_SAYS}, **kwargs)

    def to_python(self, value: Any) -> str:
        """The reason without turns of the line."""
        return " ".join(str(super().to_python(value)).split())


class JobChangesForm(forms.Form):
    """What is to become of the jobs that are ticked."""

    move_days = forms.IntegerField(
        required=False,
        min_value=-FARTHEST,
        max_value=FARTHEST,
        error_messages=dict.fromkeys(("invalid", "min_value", "max_value"), BY_SAYS),
    )
    move_to = DayField(required=False)
    batch = forms.CharField(required=False, max_length=100, widget=forms.TextInput(attrs={"list": "batches"}))
    priority = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=9,
        error_messages=dict.fromkeys(("invalid", "min_value", "max_value"), PRIORITY_SAYS),
    )
    stage = forms.ChoiceField(required=False, choices=STAGES)
    scope = forms.ChoiceField(required=False)
    quantity = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=1000,
        error_messages=dict.fromkeys(("invalid", "min_value", "max_value"), QUANTITY_SAYS),
    )
    why = WhyField()

    def __init__(self, scopes: Sequence[str], stages: Collection[str], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.stages = stages
        cast(forms.ChoiceField, self.fields["scope"]).choices = [("", AS_IT_IS), *((name, name) for name in scopes)]

    def clean(self) -> dict[str, Any]:
        """One way to move, and something that changes."""
        said = super().clean() or {}
        if said.get("move_days") and said.get("move_to"):
            self.add_error("move_to", "The jobs are moved either by days or to one day: leave one of the two blank.")
        if any(is_opened_by(stage, said.get("stage", "")) for stage in self.stages):
            self.add_error("stage", OPENED_ON_ITS_PAGE)
        if set(self.errors) <= {"why"} and not self.change.changes_something:
            self.add_error(None, NOTHING_CHANGES)
        return said

    @property
    def change(self) -> JobsChange:
        """What is to become of each job."""
        said = self.cleaned_data
        return JobsChange(
            move_days=said.get("move_days") or 0,
            move_to=said.get("move_to"),
            batch=" ".join(said.get("batch", "").split()),
            priority=said.get("priority"),
            stage=said.get("stage", ""),
            scope=said.get("scope", ""),
            quantity=said.get("quantity"),
        )
