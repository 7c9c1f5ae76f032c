"""The forms of tests: what was read off a pump, the limits it is set against, and gauges."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from kits.catalog.days.words import in_full
from kits.catalog.models import Item
from kits.picking.closing.actions import OpenedAgain
from kits.service.measures import UNITS
from kits.service.models import PumpLimit
from kits.service.testing.actions import LimitSaid
from kits.service.testing.judging import TestSaid, limit_says
from kits.service.testing.sheet import LimitShown, TestSheet
from kits.service.words import Checked
from kits.web.forms.days import DayField
from kits.web.forms.fitting import WHY
from kits.web.request_keys import KeyForm

TOO_LONG = "This has at most 500 characters: shorten it."


class TestForm(KeyForm):
    """Readings of one pump, and how the job goes on where it has not passed."""

    __test__ = False  # no test of the program

    outcome = forms.ChoiceField(choices=[("passed", "passed"), ("failed", "failed")])
    tested_with = forms.CharField(required=False, max_length=100)
    says = forms.CharField(required=False, max_length=500, error_messages={"max_length": TOO_LONG})
    quantity = forms.IntegerField(required=False, min_value=1)
    build_on = DayField(required=False)

    def __init__(self, sheet: TestSheet, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sheet = sheet
        self.fields["gauge"] = forms.TypedChoiceField(
            coerce=int,
            required=False,
            empty_value=None,
            choices=[("", "choose the gauge"), *((str(one.pk), self._gauge_says(one)) for one in sheet.gauges)],
        )
        self.fields["pump_number"] = forms.TypedChoiceField(
            coerce=int,
            required=False,
            empty_value=None,
            choices=[(str(one), str(one)) for one in range(1, sheet.job.quantity + 1)],
        )
        self.fields["scope"] = forms.ChoiceField(
            choices=[(one, one) for one in sheet.scopes], required=False, initial=sheet.job.scope
        )
        self.fields["build_on"].initial = max(sheet.job.build_on, sheet.as_of)
        self.fields["quantity"].initial = 1
        self.fields["pump_number"].initial = str(next(iter(sheet.waiting), 1))
        for row in sheet.limits:
            self.fields[f"read-{row.check_of}"] = forms.CharField(required=False, max_length=50)

    def _gauge_says(self, gauge: Any) -> str:
        past = ", past its day: not to be used" if gauge.due_on < self.sheet.as_of else ""
        return f"{gauge.gauge}{f', {gauge.reads}' if gauge.reads else ''}, calibrated to {in_full(gauge.due_on)}{past}"

    def rows(self) -> Iterator[tuple[LimitShown, forms.BoundField]]:
        """Each limit with its field."""
        return ((row, self[f"read-{row.check_of}"]) for row in self.sheet.limits)

    def said(self) -> TestSaid:
        """What was said of the test."""
        data = self.cleaned_data
        return TestSaid(
            readings={row.check_of: data[f"read-{row.check_of}"] for row in self.sheet.limits},
            gauge=data["gauge"],
            pump_number=data["pump_number"] or 1,
            tested_with=data["tested_with"],
            says=data["says"],
        )

    def again(self) -> OpenedAgain:
        """How the job goes on; what is left blank stays as it is."""
        data, job = self.cleaned_data, self.sheet.job
        quantity = data["quantity"] or 1 if job.quantity > 1 else job.quantity
        return OpenedAgain(data["scope"] or job.scope, quantity, data["build_on"] or job.build_on)


class LimitsForm(KeyForm):
    """The limits of a pump, one row for each thing that a test looks at."""

    why = WHY

    def __init__(self, stored: list[PumpLimit], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.shows = [(limit.check_of, limit_says(limit), limit.how, limit.source) for limit in stored]
        known = {limit.check_of: limit for limit in stored}
        for check in Checked:
            limit = known.get(check.value)
            number: dict[str, Any] = {"required": False, "max_digits": 14, "decimal_places": 4, "min_value": 0}
            for name in ("at_least", "at_most"):
                shown = getattr(limit, name, None)
                plain = None if shown is None else f"{shown.normalize():f}"
                self.fields[f"{name}-{check.value}"] = forms.DecimalField(initial=plain, localize=True, **number)
            units = [(unit, unit) for unit in UNITS[check]]
            unit = limit.unit if limit else UNITS[check][0]
            self.fields[f"unit-{check.value}"] = forms.ChoiceField(choices=units, required=False, initial=unit)
            for name in ("how", "source"):
                text = getattr(limit, name, "")
                self.fields[f"{name}-{check.value}"] = forms.CharField(required=False, max_length=200, initial=text)

    def rows(self) -> Iterator[tuple[Checked, list[forms.BoundField]]]:
        """Each thing that a test looks at, with its fields."""
        names = ("at_least", "at_most", "unit", "how", "source")
        return ((check, [self[f"{name}-{check.value}"] for name in names]) for check in Checked)

    def limits(self) -> dict[str, LimitSaid]:
        """The limits as they are to be; a row without a figure has none."""
        said = self.cleaned_data
        found = {}
        for check in Checked:
            least, most = said[f"at_least-{check.value}"], said[f"at_most-{check.value}"]
            if least is not None or most is not None:
                unit = said[f"unit-{check.value}"] or UNITS[check][0]
                how, source = said[f"how-{check.value}"], said[f"source-{check.value}"]
                found[check.value] = LimitSaid(least, most, unit, how, source)
        return found


class GaugeForm(KeyForm):
    """A gauge, or the new calibration of one that is known."""

    gauge = forms.CharField(max_length=100, error_messages={"required": "The gauge has no name: write its number."})
    reads = forms.CharField(required=False, max_length=200)
    calibrated_on = DayField(required=False)
    due_on = DayField()
    certificate = forms.CharField(required=False, max_length=200)
    why = WHY


class HoursForm(KeyForm):
    """Hours of the shop for one of a section, or for a pump to a scope."""

    part_number = forms.CharField(
        max_length=100, error_messages={"required": "Nothing is named: write the number of a section or a pump."}
    )
    scope = forms.CharField(required=False, max_length=100)
    hours = forms.DecimalField(max_digits=7, decimal_places=2, min_value=0, localize=True)
    why = WHY

    def clean_part_number(self) -> Item:
        """The section or pump of this number."""
        number = self.cleaned_data["part_number"]
        item = Item.objects.by_number(number)
        if item is None:
            raise ValidationError(f"There is no item {number}: write the number of a section or a pump from the list.")
        return item


class QuoteForm(KeyForm):
    """What is written to the customer beside a version of a quote."""

    note = forms.CharField(required=False, max_length=500, error_messages={"max_length": TOO_LONG})


class SaysForm(KeyForm):
    """A few words: who gave the go-ahead, or why it is taken back."""

    says = forms.CharField(required=False, max_length=300)
