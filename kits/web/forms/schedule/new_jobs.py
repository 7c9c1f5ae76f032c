"""The form in which jobs are put on the schedule."""

from __future__ import annotations

from typing import Any

from django import forms

from kits.catalog.words import Cleanliness
from kits.exchange.reading.entered_jobs import EnteredJobs, numbers_from, taken_numbers
from kits.planning.questions.pump_choices import PumpChoices
from kits.web.forms.days import DayField
from kits.web.forms.schedule.trial import PRIORITY_SAYS, QUANTITY_SAYS

MOST_SERIALS = 200
AS_LISTED = "as listed"
KITS_USED = (("", "as the scope says"), ("yes", "yes"), ("no", "no, loose parts"))


class NewJobsForm(forms.Form):
    """Jobs of one pump: what they are, how many, and when they are built."""

    first = forms.CharField(
        max_length=90, error_messages={"required": "The job has no number: write one, such as J-1, or a word of yours."}
    )
    scope = forms.ChoiceField(
        error_messages={"required": "Choose how deep the rebuild goes: without a scope nothing is asked for."}
    )
    build_on = DayField(error_messages={"required": "The job has no build day: write it as 2026-03-31."})
    strip_on = DayField(required=False)
    serials = forms.CharField(required=False, max_length=20_000, widget=forms.Textarea(attrs={"rows": 5}))
    quantity = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=1000,
        error_messages={"invalid": QUANTITY_SAYS, "min_value": QUANTITY_SAYS, "max_value": QUANTITY_SAYS},
    )
    a_day = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=MOST_SERIALS,
        error_messages=dict.fromkeys(
            ("invalid", "min_value", "max_value"), f"Write how many are built a day, 1 to {MOST_SERIALS}, or nothing."
        ),
    )
    batch = forms.CharField(required=False, max_length=100, widget=forms.TextInput(attrs={"list": "batches"}))
    priority = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=9,
        error_messages={"invalid": PRIORITY_SAYS, "min_value": PRIORITY_SAYS, "max_value": PRIORITY_SAYS},
    )
    customer = forms.CharField(required=False, max_length=200)
    cleanliness = forms.ChoiceField(required=False, choices=Cleanliness.choices)
    use_kits = forms.ChoiceField(required=False, choices=KITS_USED)

    def __init__(self, pump: PumpChoices, typed: Any = None, **usual: Any) -> None:
        initial = {"quantity": 1, "priority": 5, "cleanliness": Cleanliness.NORMAL, **usual.pop("initial", {})}
        super().__init__(typed, initial=initial, **usual)
        self.pump = pump
        self.fields["scope"].choices = [("", "choose"), *((name, name) for name in pump.scopes)]  # type: ignore[attr-defined]
        for place, option in enumerate(pump.options):
            listed = f"{AS_LISTED}: {option.usual}" if option.usual else "not said yet"
            choices = [("", listed), *((value, value) for value in option.values)]
            self.fields[f"option_{place}"] = forms.ChoiceField(required=False, choices=choices, label=option.name)

    @property
    def options(self) -> list[forms.BoundField]:
        """The fields of the options that this pump asks about."""
        return [self[f"option_{place}"] for place in range(len(self.pump.options))]

    def clean_serials(self) -> list[str]:
        """The serial numbers, one a line; one that stands twice is refused."""
        serials = [" ".join(line.split()) for line in self.cleaned_data["serials"].splitlines() if line.strip()]
        twice = sorted({serial for serial in serials if serials.count(serial) > 1})
        if twice:
            raise forms.ValidationError(f"The serial number {twice[0]} stands there twice: keep one of the two.")
        if len(serials) > MOST_SERIALS:
            raise forms.ValidationError(
                f"{len(serials)} serial numbers are more than one form takes, {MOST_SERIALS}: enter them in parts."
            )
        return serials

    def clean(self) -> dict[str, Any]:
        """Numbers that are free, a strip day before the build, one pump a serial number."""
        said = super().clean() or {}
        serials, first = said.get("serials"), said.get("first")
        if serials and (said.get("quantity") or 1) > 1:
            self.add_error("quantity", "Each serial number is one pump and gets its own job: leave 1, or no numbers.")
        if said.get("strip_on") and said.get("build_on") and said["strip_on"] > said["build_on"]:
            self.add_error("strip_on", "The pump is stripped before it is built: choose an earlier day.")
        if first and serials is not None and (taken := taken_numbers(numbers_from(first, max(1, len(serials))))):
            self.add_error("first", f"{taken[0]} is a job already: begin with another number.")
        return said

    def clean_batch(self) -> str:
        """The batch on one line."""
        return " ".join(self.cleaned_data["batch"].split())

    def entered(self) -> EnteredJobs:
        """What was entered, ready to be laid out."""
        said = self.cleaned_data
        answers = (
            f"{option.name}={said[f'option_{place}']}"
            for place, option in enumerate(self.pump.options)
            if said[f"option_{place}"]
        )
        return EnteredJobs(
            first=said["first"],
            pump=self.pump.part_number,
            scope=said["scope"],
            build_on=said["build_on"],
            serials=said["serials"],
            quantity=said["quantity"] or 1,
            a_day=said["a_day"] or 0,
            strip_on=said["strip_on"],
            batch=said["batch"],
            priority=said["priority"] or 5,
            option=";".join(answers),
            cleanliness=said["cleanliness"] or Cleanliness.NORMAL,
            use_kits=said["use_kits"],
            customer=said["customer"],
        )

    def typed(self) -> dict[str, str]:
        """Everything as it was typed, to come back into the fields."""
        return {name: str(self.data.get(name, "")) for name in self.fields} | {"pump": self.pump.part_number}
