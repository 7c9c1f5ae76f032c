"""The form of a strip report: one row for each position of a section."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms

from kits.planning.sheets.jobs.strip_report import StripRow, StripSection
from kits.schedule.looks import Look, PositionLook
from kits.schedule.words import VerdictWord
from kits.web.request_keys import KeyForm

SAYS = {
    "": "to be looked at",
    VerdictWord.KEEP: "good, goes back in",
    VerdictWord.RENEW: "renewed",
    VerdictWord.MISSING: "missing, replaced",
    VerdictWord.REWORK: "out for rework",
    VerdictWord.NOT_AS_LISTED: "not as listed",
}
NO_VERDICT = "“%(value)s” is no verdict: choose one from the list."
BETWEEN = "\x1f"
"""Stands between the texts that a row showed; nobody types it."""


class StripForm(KeyForm):
    """The positions of one section; each row says as well what it showed, so that nobody's words are written over."""

    def __init__(self, section: StripSection, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.section = section
        for row in section.rows:
            verdict = forms.ChoiceField(choices=list(SAYS.items()), required=False, initial=row.verdict)
            verdict.error_messages["invalid_choice"] = NO_VERDICT
            self.fields[f"v{row.key}"] = verdict
            for name, typed, longest, wide in (("f", row.found, 500, 18), ("m", row.measured, 50, 8)):
                says = {"max_length": f"This has at most {longest} characters: shorten it."}
                box = forms.TextInput(attrs={"size": wide})
                text = forms.CharField(
                    required=False, max_length=longest, initial=typed, widget=box, error_messages=says
                )
                self.fields[f"{name}{row.key}"] = text
            shown = forms.CharField(required=False, strip=False, initial=shown_of(row), widget=forms.HiddenInput)
            self.fields[f"s{row.key}"] = shown

    @property
    def rows(self) -> Iterator[tuple[StripRow, tuple[forms.BoundField, ...]]]:
        """Each position with its fields: verdict, found, measured, what was shown."""
        return ((row, tuple(self[f"{name}{row.key}"] for name in "vfms")) for row in self.section.rows)

    def looks(self, *, rest_is_good: bool) -> list[Look]:
        """What the rows say; ``rest_is_good`` keeps every position that has no verdict and is not renewed anyhow."""
        return [self._look(row, rest_is_good) for row in self.section.rows]

    def beside(self, now: StripSection) -> StripForm:
        """The same form beside what stands there now: what was typed stays, what was not shows what others wrote."""
        said = dict(self.data.items())
        for row in now.rows:
            names = {name: f"{name}{row.key}" for name in "vfms"}
            typed = [said.get(names[name], "").strip() for name in "vfm"]
            if BETWEEN.join(typed) == said.get(names["s"], ""):
                said.update({names["v"]: row.verdict, names["f"]: row.found, names["m"]: row.measured})
            said[names["s"]] = shown_of(row)
        return StripForm(now, said)

    def _look(self, row: StripRow, rest_is_good: bool) -> Look:
        verdict, found, measured = (self.cleaned_data[f"{name}{row.key}"].strip() for name in "vfm")
        if rest_is_good and not verdict and not row.because:
            verdict = VerdictWord.KEEP.value
        shown = self.cleaned_data[f"s{row.key}"].split(BETWEEN)
        return Look(
            row.where,
            row.part_number,
            PositionLook(*shown) if len(shown) == 3 else PositionLook(),
            PositionLook(verdict, found, measured),
        )


def shown_of(row: StripRow) -> str:
    """What a row shows, as one text."""
    return BETWEEN.join((row.verdict, row.found, row.measured))
