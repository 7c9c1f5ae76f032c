"""What came of a check or a load."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from bom.reading import NeverAsked
from kits.catalog.folding import fold
from kits.exchange.columns.layouts import LAYOUTS
from kits.exchange.columns.stock_layouts import LOTS
from kits.exchange.files.codepages import TextReading
from kits.exchange.problems.asked import StrangeSheet, UnknownList
from kits.exchange.problems.findings import NO_ITEM, Findings, MissingItem, Problem, Remark
from kits.exchange.problems.row_changes import (
    CHANGED,
    MOST_KEPT,
    NEW,
    SAME,
    ColumnChange,
    RowChange,
    SheetChange,
    digest_of_changes,
)
from kits.exchange.reading.asking.strange_headings import strange_as_json, strange_from_json
from kits.exchange.uploads.jobs.both_plans import sheet_as_json, sheet_from_json
from kits.planning.questions.trial import TrialSheet


@dataclass(frozen=True, slots=True)
class Outcome:
    """Problems, remarks, questions, and what each sheet changes. With a problem nothing is stored, and ``sheets`` is
    empty; with a question nothing is, as long as nobody has said that it is meant.

    ``both_plans`` says what a checked list of jobs would do to everybody. ``overtaken``: it was to be loaded, but would
    have changed something else by then than was shown.

    ``touched`` are the sheets of which the files hold rows, or that replace what is stored.
    """

    problems: tuple[Problem, ...]
    remarks: tuple[Remark, ...]
    sheets: tuple[SheetChange, ...] = ()
    stored: bool = False
    strange: tuple[StrangeSheet, ...] = ()
    questions: tuple[Problem, ...] = ()
    touched: tuple[str, ...] = ()
    never_asked: tuple[NeverAsked, ...] = ()
    unknown: tuple[UnknownList, ...] = ()
    texts: tuple[TextReading, ...] = ()
    missing: tuple[MissingItem, ...] = ()
    both_plans: TrialSheet | None = None
    overtaken: bool = False

    @property
    def unsettled(self) -> tuple[Problem, ...]:
        """The problems that stay when what nobody has yet is added, and numbers that look like known ones."""
        added = {fold(one.number) for one in self.missing if not one.alike}
        return tuple(one for one in self.problems if fold(one.reason.removeprefix(NO_ITEM)) not in added)

    @property
    def naming_missing(self) -> tuple[Problem, ...]:
        """The problems that go when what nobody has yet is added as items."""
        unsettled = set(self.unsettled)
        return tuple(one for one in self.problems if one not in unsettled)

    @property
    def asked(self) -> str:
        """What tells these questions from any others; empty without one."""
        return asked_of(self.questions)

    @property
    def needs_reason(self) -> bool:
        """Whether saying that it is meant takes a reason: an old lot is accepted for one, by whatever way it comes."""
        return needs_reason(self.questions)

    @property
    def changes_something(self) -> bool:
        """Whether anything differs from what is stored."""
        return any(sheet.changes_something for sheet in self.sheets)

    @property
    def says(self) -> str:
        """The outcome in a few words: how many problems, or the counts of each sheet that differs."""
        if self.problems:
            return f"{len(self.problems)} problem{'s' if len(self.problems) > 1 else ''}"
        words = "; ".join(sheet.says for sheet in self.sheets if sheet.changes_something)
        return (words if len(words) <= 500 else f"{words[:497]}...") or "nothing differs from what is stored"

    def as_json(self) -> dict[str, Any]:
        """The outcome as plain values: of each sheet the counts, and the first rows that differ."""
        return {
            "problems": [asdict(problem) for problem in self.problems],
            "remarks": [asdict(remark) for remark in self.remarks],
            "sheets": [_as_json(sheet) for sheet in self.sheets],
            "stored": self.stored,
            "strange": strange_as_json(self.strange),
            "questions": [asdict(question) for question in self.questions],
            "touched": self.touched,
            "never_asked": [asdict(row) for row in self.never_asked[:MOST_KEPT]],
            "unknown": [asdict(one) for one in self.unknown],
            "texts": [asdict(one) for one in self.texts],
            "missing": [asdict(one) for one in self.missing],
            "both_plans": sheet_as_json(self.both_plans),
            "does": digest_of_changes(self.sheets),
            "overtaken": self.overtaken,
        }


def _as_json(sheet: SheetChange) -> dict[str, Any]:
    differ = [row for row in sheet.rows if row.outcome != SAME]
    return {
        "sheet": sheet.sheet,
        "rows": [asdict(row) for row in differ[:MOST_KEPT]],
        "not_kept": {
            NEW: sum(row.outcome == NEW for row in differ[MOST_KEPT:]),
            CHANGED: sum(row.outcome == CHANGED for row in differ[MOST_KEPT:]),
            SAME: sheet.count(SAME),
        },
        "removed": list(sheet.removed),
    }


def make_outcome(
    findings: Findings,
    sheets: tuple[SheetChange, ...] = (),
    *,
    stored: bool = False,
    touched: Collection[str] = (),
    both_plans: TrialSheet | None = None,
    overtaken: bool = False,
) -> Outcome:
    """The outcome as it stands; with a problem there is none but the problems, in the order of the rows."""
    outcome = Outcome(
        problems=(),
        remarks=findings.remarks,
        strange=tuple(findings.strange),
        questions=tuple(_by_row(_headed(findings, findings.questions))),
        touched=tuple(sorted(touched)),
        unknown=tuple(findings.unknown),
        texts=tuple(findings.texts),
    )
    if findings.problems:
        problems = _by_row(_headed(findings, findings.problems))
        if findings.beyond:
            more = f"not listed besides: {findings.beyond} more"
            problems.append(Problem("", None, "", "", more, "put these right first, then load it again"))
        return replace(outcome, problems=tuple(problems), missing=tuple(findings.missing))
    never_asked = tuple(findings.never_asked)
    outcome = replace(outcome, sheets=sheets, stored=stored, overtaken=overtaken)
    return replace(outcome, never_asked=never_asked, both_plans=both_plans)


def asked_of(questions: Sequence[Problem]) -> str:
    """What tells these questions from any others, so that a yes to some is no yes to others."""
    seen = sorted(f"{one.cell} {one.reason}" for one in questions)
    return hashlib.sha256("\n".join(seen).encode()).hexdigest() if seen else ""


def _headed(findings: Findings, problems: Sequence[Problem]) -> list[Problem]:
    """With what was typed above the column of each."""
    return [
        replace(one, heading=findings.headings.get((one.file, one.sheet), {}).get(one.column, "")) for one in problems
    ]


def needs_reason(questions: Sequence[Problem]) -> bool:
    """Whether a yes to these questions takes a reason."""
    return any(question.sheet == LOTS.name for question in questions)


def _by_row(problems: Sequence[Problem]) -> list[Problem]:
    """File by file, sheet by sheet, row by row: as somebody goes through a workbook who puts them right."""
    files = {name: place for place, name in enumerate(dict.fromkeys(problem.file for problem in problems))}
    sheets = {sheet.name: place for place, sheet in enumerate(LAYOUTS)}
    return sorted(problems, key=lambda one: (files[one.file], sheets.get(one.sheet, len(sheets)), one.row or 0))


def outcome_from_json(kept: dict[str, Any]) -> Outcome:
    """The outcome as it was kept with an upload, an empty one before its first check; rows only counted are empty."""
    return Outcome(
        tuple(Problem(**problem) for problem in kept.get("problems", ())),
        tuple(Remark(**{**remark, "rows": tuple(remark["rows"])}) for remark in kept.get("remarks", ())),
        tuple(_sheet(sheet) for sheet in kept.get("sheets", ())),
        kept.get("stored", False),
        strange_from_json(kept.get("strange", ())),
        tuple(Problem(**question) for question in kept.get("questions", ())),
        tuple(kept.get("touched", ())),
        tuple(
            NeverAsked(tuple(row["names"]), tuple(row["within"]), row["why"], row["remedy"])
            for row in kept.get("never_asked", ())
        ),
        tuple(
            UnknownList(**{**one, "likely": tuple(one["likely"]), "first": tuple(map(tuple, one["first"]))})
            for one in kept.get("unknown", ())
        ),
        tuple(
            TextReading(
                **{
                    **one,
                    "alike": tuple(one["alike"]),
                    "samples": tuple((name, tuple(said)) for name, said in one["samples"]),
                }
            )
            for one in kept.get("texts", ())
        ),
        tuple(MissingItem(**one) for one in kept.get("missing", ())),
        sheet_from_json(kept.get("both_plans")),
        kept.get("overtaken", False),
    )


def _sheet(kept: dict[str, Any]) -> SheetChange:
    rows = [
        RowChange(row["row"], row["key"], row["outcome"], tuple(ColumnChange(**change) for change in row["changes"]))
        for row in kept["rows"]
    ]
    for outcome, count in kept["not_kept"].items():
        rows += [RowChange(0, "", outcome)] * count
    return SheetChange(kept["sheet"], tuple(rows), tuple(kept["removed"]))
