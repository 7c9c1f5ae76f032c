"""The form in which several jobs are changed at once."""

from __future__ import annotations

from typing import Any

from django import forms

from kits.exchange.reading.changed_jobs import JobsChange
from kits.schedule.words import Stage
from kits.web.forms.days import DayField
from kits.web.forms.schedule.trial import PRIORITY_SAYS

FARTHEST = 500
BY_SAYS = f"Write by how many working days, {-FARTHEST} to {FARTHEST}: -3 is three days earlier."
AGAIN = {"again_expected": Stage.EXPECTED, "again_here": Stage.HERE, "again_stripped": Stage.STRIPPED}
DEEDS = (
    ("", "as they are"),
    ("hold", "hold them"),
    ("again_expected", "take up again, pump expected"),
    ("again_here", "take up again, pump here"),
    ("again_stripped", "take up again, pump stripped"),
    ("cancel", "cancel them"),
)


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
    deed = forms.ChoiceField(required=False, choices=DEEDS)
    because = forms.CharField(required=False, max_length=500)

    def clean(self) -> dict[str, Any]:
        """One way to move, and a reason for whatever is held."""
        said = super().clean() or {}
        if said.get("move_days") and said.get("move_to"):
            self.add_error("move_to", "The jobs are moved either by days or to one day: leave one of the two blank.")
        if said.get("deed") == "hold" and not said.get("because", "").strip():
            self.add_error("because", "Nothing says why the jobs are held: write it, it stands beside each of them.")
        if not self.errors and not self.change.changes_something:
            self.add_error(None, "Nothing would change: say by how many days, into which batch, or what else.")
        return said

    @property
    def change(self) -> JobsChange:
        """What is to become of each job."""
        said = self.cleaned_data
        deed = said.get("deed") or ""
        stage = {"hold": Stage.HELD, "cancel": Stage.CANCELLED, **AGAIN}.get(deed, "")
        return JobsChange(
            move_days=said.get("move_days") or 0,
            move_to=said.get("move_to"),
            batch=" ".join(said.get("batch", "").split()),
            priority=said.get("priority"),
            stage=str(stage),
            because=" ".join(said.get("because", "").split()) if deed == "hold" else "",
        )
