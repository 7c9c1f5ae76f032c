"""The form as which one row of the job list is opened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, cast

from django import forms

import bom.values
from kits.exchange.reading.changed_jobs import rebuilt_on
from kits.schedule.stages import OPENED_ON_ITS_PAGE, TO_BUILD, is_opened_by
from kits.schedule.words import Stage
from kits.web.forms.days import DayField
from kits.web.forms.schedule.job_changes import WhyField
from kits.web.forms.schedule.trial import PRIORITY_SAYS, QUANTITY_SAYS

STAGES = tuple((stage.value, stage.label.lower()) for stage in (*TO_BUILD, Stage.HELD, Stage.CANCELLED))
BUILDING = Stage.BUILDING.value


class JobRowForm(forms.Form):
    """One job as it is to be; why stands beside it."""

    build_on = DayField()
    batch = forms.CharField(required=False, max_length=100, widget=forms.TextInput(attrs={"list": "batches"}))
    priority = forms.IntegerField(
        min_value=1,
        max_value=9,
        error_messages=dict.fromkeys(("required", "invalid", "min_value", "max_value"), PRIORITY_SAYS),
    )
    stage = forms.ChoiceField(choices=STAGES, error_messages={"required": "Say how far the pump has come."})
    scope = forms.ChoiceField(error_messages={"required": "Choose how deep the rebuild goes."})
    quantity = forms.IntegerField(
        min_value=1,
        max_value=1000,
        error_messages=dict.fromkeys(("required", "invalid", "min_value", "max_value"), QUANTITY_SAYS),
    )
    serial = forms.CharField(required=False, max_length=100)
    customer = forms.CharField(required=False, max_length=200)
    why = WhyField()

    def __init__(self, job: bom.values.Job, scopes: Sequence[str], typed: Any = None, **kwargs: Any) -> None:
        as_planned = {name: getattr(job, name) for name in self.base_fields if name != "why"}
        super().__init__(typed, initial=as_planned, **kwargs)
        self.job = job
        # Building is begun on the page of the job, which asks what is open.
        stages = [choice for choice in STAGES if choice[0] != BUILDING or job.stage == BUILDING]
        cast(forms.ChoiceField, self.fields["stage"]).choices = stages
        known = dict.fromkeys((job.scope, *scopes))
        cast(forms.ChoiceField, self.fields["scope"]).choices = [(name, name) for name in known]

    def clean(self) -> dict[str, Any]:
        """Something that changes, and one pump where a serial number is given."""
        said = super().clean() or {}
        if set(self.errors) <= {"why"} and self.wanted == self.job:
            self.add_error(None, "Nothing would change: every field stands as the job does.")
        elif said.get("serial") and said["serial"] != self.job.serial and (said.get("quantity") or 1) > 1:
            self.add_error("serial", "A serial number is that of one pump: make it 1 pump, or split the job first.")
        elif is_opened_by(self.job.stage, said.get("stage", "")):
            self.add_error("stage", OPENED_ON_ITS_PAGE)
        return said

    @property
    def wanted(self) -> bom.values.Job:
        """The job as it is to be."""
        said = self.cleaned_data
        return rebuilt_on(
            replace(
                self.job,
                batch=" ".join(said["batch"].split()),
                priority=said["priority"],
                stage=said["stage"],
                scope=said["scope"],
                quantity=said["quantity"],
                serial=" ".join(said["serial"].split()),
                customer=" ".join(said["customer"].split()),
            ),
            said["build_on"],
        )
