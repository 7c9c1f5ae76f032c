"""The form in which a job of several pumps is split into one job for each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from django import forms

from kits.catalog.folding import fold
from kits.exchange.reading.entered_jobs import taken_numbers
from kits.exchange.reading.split_job import LONGEST_NUMBER
from kits.web.forms.schedule.job_changes import WhyField

NUMBER_SAYS = "Each pump gets a job of its own: write its number."


class SplitForm(forms.Form):
    """The number of the job and the serial number of each pump; the first keeps the number that stands."""

    why = WhyField()

    def __init__(self, numbers: Sequence[str], serial: str, typed: Any = None, **kwargs: Any) -> None:
        super().__init__(typed, initial={"serial_0": serial, "why": "one job for each pump"}, **kwargs)
        self.numbers = numbers
        for place, number in enumerate(numbers):
            if place:
                self.fields[f"number_{place}"] = forms.CharField(
                    max_length=LONGEST_NUMBER, initial=number, error_messages={"required": NUMBER_SAYS}
                )
            self.fields[f"serial_{place}"] = forms.CharField(required=False, max_length=100)

    @property
    def rows(self) -> list[tuple[str, forms.BoundField | None, forms.BoundField]]:
        """For each pump the number of its job, the field for it, and the field for its serial number."""
        return [
            (number, self[f"number_{place}"] if place else None, self[f"serial_{place}"])
            for place, number in enumerate(self.numbers)
        ]

    def clean(self) -> dict[str, Any]:
        """No number and no serial twice, and no number that a job has already."""
        said = super().clean() or {}
        numbers = {f"number_{place}": number for place, (number, _) in enumerate(self.pumps) if place and number}
        taken = {fold(number) for number in taken_numbers(numbers.values())} | {fold(self.numbers[0])}
        seen: Counter[str] = Counter()
        for name, number in numbers.items():
            seen[fold(number)] += 1
            if fold(number) in taken:
                self.add_error(name, f"{number} is a job already: write another number.")
            elif seen[fold(number)] > 1:
                self.add_error(name, f"{number} stands there twice: write another number for one of the two.")
        serials: Counter[str] = Counter()
        for place, (_, serial) in enumerate(self.pumps):
            serials[fold(serial)] += bool(serial)
            if serials[fold(serial)] > 1:
                self.add_error(
                    f"serial_{place}", f"The serial number {serial} stands there twice: keep one of the two."
                )
        return said

    @property
    def pumps(self) -> list[tuple[str, str]]:
        """The number of the job and the serial number of each pump."""
        said = self.cleaned_data
        return [
            (
                " ".join(said.get(f"number_{place}", "").split()) if place else number,
                " ".join(said.get(f"serial_{place}", "").split()),
            )
            for place, number in enumerate(self.numbers)
        ]
