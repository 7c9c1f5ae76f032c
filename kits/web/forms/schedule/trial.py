"""The forms of a change that is tried, and of one that is kept."""

from __future__ import annotations

from datetime import date
from typing import cast

from django import forms
from django.http import QueryDict

from kits.catalog.days.doubts import DayDoubts, asked
from kits.catalog.days.words import words_for_day
from kits.catalog.folding import fold
from kits.catalog.options import OptionError, canonical_options, parse_options
from kits.planning.questions.trial import Trial, TrialJob
from kits.planning.words.states import in_words, plural
from kits.schedule.writes import Planned
from kits.web.forms.days import DayField
from kits.web.request_keys import KeyForm

QUANTITY_SAYS = "A job rebuilds 1 to 1000 pumps: write a whole number."
PRIORITY_SAYS = "A priority is 1, which goes first, to 9."


class TrialForm(forms.Form):
    """What is to be tried with one job; a field left blank, or as it stands, changes nothing."""

    move_to = DayField(required=False)
    priority = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=9,
        error_messages={"invalid": PRIORITY_SAYS, "min_value": PRIORITY_SAYS, "max_value": PRIORITY_SAYS},
    )
    scope = forms.ChoiceField(required=False)
    quantity = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=1000,
        error_messages={"invalid": QUANTITY_SAYS, "min_value": QUANTITY_SAYS, "max_value": QUANTITY_SAYS},
    )
    option = forms.CharField(required=False, max_length=500, widget=forms.TextInput(attrs={"size": 30}))
    as_listed = forms.BooleanField(required=False)
    pump = forms.ChoiceField(required=False)
    drop = forms.BooleanField(required=False)

    def __init__(self, job: TrialJob, odd: DayDoubts, said: QueryDict | None = None) -> None:
        as_planned = {
            "move_to": job.build_on.isoformat(),
            "priority": str(job.priority),
            "scope": job.scope,
            "quantity": str(job.quantity),
            "option": job.option,
            "pump": job.pump,
        }
        filled = None
        if said is not None:
            filled = said.copy()
            for name, value in as_planned.items():
                if not filled.get(name, "").strip():
                    filled[name] = value
        super().__init__(filled, initial=as_planned)
        self.job, self.odd = job, odd
        pump = str(filled["pump"]) if filled else job.pump
        own = list(dict.fromkeys((job.scope, *job.scopes) if pump == job.pump else job.pumps.get(pump, ())))
        scope = cast(forms.ChoiceField, self.fields["scope"])
        scope.choices = [(name, name) for name in own]
        scope.error_messages["invalid_choice"] = (
            f"{pump} has no scope “%(value)s”; known for it: {', '.join(own) or 'none'}."
        )
        pumps = cast(forms.ChoiceField, self.fields["pump"])
        pumps.choices = [(name, name) for name in dict.fromkeys((job.pump, *job.pumps))]
        pumps.error_messages["invalid_choice"] = "No pump “%(value)s” is known with a scope: choose one from the list."

    def clean_option(self) -> str:
        """The answers as they are stored; none where the pump is to be as listed."""
        try:
            return canonical_options("" if "as_listed" in self.data else self.cleaned_data["option"])
        except OptionError as error:
            raise forms.ValidationError(str(error)) from error

    @property
    def trial(self) -> Trial:
        """What differs from the job as it is planned."""
        said, job = self.cleaned_data, self.job
        if said["drop"]:
            return Trial(job.job, drop=True)
        return Trial(
            job.job,
            move_to=said["move_to"] if said["move_to"] != job.build_on else None,
            priority=said["priority"] if said["priority"] != job.priority else None,
            scope=said["scope"] if said["scope"] != job.scope else "",
            quantity=said["quantity"] if said["quantity"] != job.quantity else None,
            option=said["option"] if parse_options(said["option"]) != job.options else None,
            pump=said["pump"] if said["pump"] != job.pump else "",
        )

    @property
    def doubt(self) -> str:
        """What is odd about the new build day; an empty text where nothing is."""
        moved = self.trial.move_to if self.is_bound and self.is_valid() else None
        remedy = "choose another day, or keep it with the tick that it is meant"
        return asked(self.odd.of_build(moved), remedy) if moved else ""


class KeepForm(KeyForm):
    """The reason for a change, and the job as it was when the change was tried."""

    why = forms.CharField(
        max_length=500,
        error_messages={"required": "The change has no reason yet: say in a few words why it is made."},
    )
    meant = forms.DateField(required=False)
    seen_build_on = forms.DateField(widget=forms.HiddenInput)
    seen_priority = forms.IntegerField(widget=forms.HiddenInput)
    seen_scope = forms.CharField(widget=forms.HiddenInput)
    seen_quantity = forms.IntegerField(widget=forms.HiddenInput)
    seen_option = forms.CharField(required=False, widget=forms.HiddenInput)
    seen_pump = forms.CharField(widget=forms.HiddenInput)

    def asks(self, form: TrialForm) -> bool:
        """Ask about an odd build day, unless the tick says that this very day is meant."""
        if form.doubt and self.cleaned_data.get("meant") != form.trial.move_to:
            self.add_error("meant", form.doubt)
        return bool(self.errors)

    @property
    def seen(self) -> Planned:
        """The job as it was seen."""
        said = self.cleaned_data
        return Planned(**{name: said[f"seen_{name}"] for name in Planned.__dataclass_fields__})


def wanted(seen: Planned, form: TrialForm) -> Planned:
    """The job as it is to be; a scope or an option that is only spelled otherwise stays as it was."""
    said = form.cleaned_data
    return Planned(
        build_on=said["move_to"],
        priority=said["priority"],
        scope=seen.scope if fold(said["scope"]) == fold(seen.scope) else said["scope"],
        quantity=said["quantity"],
        option=seen.option if parse_options(said["option"]) == parse_options(seen.option) else said["option"],
        pump=said["pump"],
    )


def kept_says(job: TrialJob, trial: Trial, today: date) -> str:
    """What was kept, in one sentence."""
    done = [f"built on {words_for_day(trial.move_to, today)}"] if trial.move_to else []
    done += [f"priority {trial.priority}"] if trial.priority else []
    done += [f"pump {trial.pump}"] if trial.pump else []
    done += [f"scope {trial.scope}"] if trial.scope else []
    done += [plural(trial.quantity, "pump")] if trial.quantity else []
    done += [trial.option or "as listed"] if trial.option is not None else []
    return (
        f"{job.job} is kept as tried: {'given up' if trial.drop else in_words(done)}. Every sheet counts with it now."
    )
