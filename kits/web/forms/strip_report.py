"""The form of a strip report: one row for each position of a section."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import forms

from kits.planning.sheets.jobs.strip_report import StripRow, StripSection
from kits.planning.words.bench_figures import ProposedVerdict, bounds_text, limit_says, propose
from kits.schedule.looks import Look, PositionLook
from kits.schedule.words import VerdictWord
from kits.service.models import WearLimit
from kits.web.request_keys import KeyForm

SAYS = {
    VerdictWord.KEEP: "Good",
    VerdictWord.RENEW: "Renew",
    VerdictWord.MISSING: "Missing",
    VerdictWord.REWORK: "Rework",
    VerdictWord.NOT_AS_LISTED: "Not as listed",
    "": "Not seen",
}
NO_VERDICT = "“%(value)s” is no verdict: choose one from the list."
ALONE = "alone"
BETWEEN = "\x1f"
"""Stands between the texts that a row showed; nobody types it."""


@dataclass(frozen=True, slots=True)
class TypedRow:
    """One position as it stands on the form, with its limit in words and what was measured against it."""

    row: StripRow
    verdict: forms.BoundField
    found: forms.BoundField
    measured: forms.BoundField
    alone: forms.BoundField
    shown: forms.BoundField
    limit: str
    proposal: ProposedVerdict | None

    @property
    def is_wrong(self) -> bool:
        """Whether something typed of it was refused."""
        return any(field.errors for field in (self.verdict, self.found, self.measured, self.alone))

    @property
    def is_changed(self) -> bool:
        """Whether it says something else than what is written down."""
        said = [str(field.value() or "").strip() for field in (self.verdict, self.found, self.measured)]
        return BETWEEN.join((*said, ALONE if self.alone.value() else "")) != shown_of(self.row)


class StripForm(KeyForm):
    """The positions of one section; each row says as well what it showed, so that nobody's words are written over.

    ``measured`` holds values that were typed and are only looked at, by the key of their position.
    """

    def __init__(
        self,
        section: StripSection,
        limits: Mapping[str, WearLimit],
        data: Mapping[str, Any] | None = None,
        *,
        measured: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(data)
        self.section, self.limits = section, limits
        for row in section.rows:
            verdict = forms.ChoiceField(
                choices=list(SAYS.items()), required=False, initial=row.verdict, widget=forms.RadioSelect
            )
            verdict.error_messages["invalid_choice"] = NO_VERDICT
            self.fields[f"v{row.key}"] = verdict
            typed = (measured or {}).get(row.key, row.measured)
            for name, initial, longest, wide in (("f", row.found, 500, 30), ("m", typed, 50, 9)):
                says = {"max_length": f"This has at most {longest} characters: shorten it."}
                box = forms.TextInput(attrs={"size": wide, "autocomplete": "off"})
                text = forms.CharField(
                    required=False, max_length=longest, initial=initial, widget=box, error_messages=says
                )
                self.fields[f"{name}{row.key}"] = text
            self.fields[f"a{row.key}"] = forms.BooleanField(required=False, initial=row.alone)
            shown = forms.CharField(required=False, strip=False, initial=shown_of(row), widget=forms.HiddenInput)
            self.fields[f"s{row.key}"] = shown

    @property
    def rows(self) -> Mapping[str, TypedRow]:
        """Each position with its fields, by its key."""
        return {row.key: self._typed(row) for row in self.section.rows}

    def looks(self, *, rest_is_good: bool) -> list[Look]:
        """What the rows say; ``rest_is_good`` keeps every position that has no verdict and is not renewed anyhow."""
        return [self._look(row, rest_is_good) for row in self.section.rows]

    def proposed(self) -> StripForm | None:
        """The form with the verdicts that measured values mean, where one has none yet; None where all is said."""
        said = dict(self.data.items())
        found = {
            f"v{row.key}": proposal.verdict
            for row in self.section.rows
            if not self.cleaned_data[f"v{row.key}"] and (proposal := self._proposal(row)) and proposal.verdict
        }
        return StripForm(self.section, self.limits, said | found) if found else None

    def beside(self, now: StripSection, limits: Mapping[str, WearLimit]) -> StripForm:
        """The same form beside what stands there now: what was typed stays, what was not shows what others wrote."""
        said = dict(self.data.items())
        for row in now.rows:
            names = {name: f"{name}{row.key}" for name in "vfmas"}
            typed = [said.get(names[name], "").strip() for name in "vfm"] + [ALONE if names["a"] in said else ""]
            if BETWEEN.join(typed) == said.get(names["s"], ""):
                said.update({names["v"]: row.verdict, names["f"]: row.found, names["m"]: row.measured})
                said.pop(names["a"], None)
                said.update({names["a"]: "on"} if row.alone else {})
            said[names["s"]] = shown_of(row)
        return StripForm(now, limits, said)

    def _typed(self, row: StripRow) -> TypedRow:
        limit = self.limits.get(row.key)
        fields = {name: self[f"{name}{row.key}"] for name in "vfmas"}
        measured = str(fields["m"].value() or "").strip()
        return TypedRow(
            row=row,
            verdict=fields["v"],
            found=fields["f"],
            measured=fields["m"],
            alone=fields["a"],
            shown=fields["s"],
            limit=limit_says(limit) if limit else "",
            proposal=propose(measured, limit) if limit and measured else None,
        )

    def _proposal(self, row: StripRow) -> ProposedVerdict | None:
        limit, measured = self.limits.get(row.key), self.cleaned_data[f"m{row.key}"].strip()
        return propose(measured, limit) if limit and measured else None

    def _look(self, row: StripRow, rest_is_good: bool) -> Look:
        verdict, found, measured = (self.cleaned_data[f"{name}{row.key}"].strip() for name in "vfm")
        if rest_is_good and not verdict and not row.because:
            verdict = VerdictWord.KEEP.value
        shown, limit = self.cleaned_data[f"s{row.key}"].split(BETWEEN), self.limits.get(row.key)
        return Look(
            row.where,
            row.part_number,
            PositionLook(shown[0], shown[1], shown[2], shown[3] == ALONE) if len(shown) == 4 else PositionLook(),
            PositionLook(verdict, found, measured, self.cleaned_data[f"a{row.key}"]),
            limit=bounds_text(limit) if limit and measured else "",
            unit=limit.unit if limit and measured else "",
        )


class TakeBackEntryForm(KeyForm):
    """What was written last on a strip report, to be taken back."""


def shown_of(row: StripRow) -> str:
    """What a row shows, as one text."""
    return BETWEEN.join((row.verdict, row.found, row.measured, ALONE if row.alone else ""))
