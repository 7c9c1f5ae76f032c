"""What came of a check or a load."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from kits.exchange.problems import Findings, Problem, Remark
from kits.exchange.row_changes import RowChange, SheetChange
from kits.exchange.sheet_resources import ColumnChange


@dataclass(frozen=True, slots=True)
class Outcome:
    """Problems, remarks, and what each sheet changes. With a problem nothing is stored, and ``sheets`` is empty."""

    problems: tuple[Problem, ...]
    remarks: tuple[Remark, ...]
    sheets: tuple[SheetChange, ...] = ()
    stored: bool = False

    @property
    def changes_something(self) -> bool:
        """Whether anything differs from what is stored."""
        return any(sheet.changes_something for sheet in self.sheets)

    def as_json(self) -> dict[str, Any]:
        """The outcome as plain values, without the rows that stay the same."""
        found = asdict(self)
        for sheet in found["sheets"]:
            sheet["same"] = sum(row["outcome"] == "same" for row in sheet["rows"])
            sheet["rows"] = [row for row in sheet["rows"] if row["outcome"] != "same"]
        return found


def outcome_of(findings: Findings, sheets: tuple[SheetChange, ...] = (), *, stored: bool = False) -> Outcome:
    """The outcome as it stands; with a problem there is none but the problems."""
    if findings.problems:
        return Outcome(tuple(findings.problems), findings.remarks)
    return Outcome((), findings.remarks, sheets, stored)


def outcome_from_json(kept: dict[str, Any]) -> Outcome:
    """The outcome as it was kept with an upload; rows that stay the same come back as a count of empty ones."""
    return Outcome(
        tuple(Problem(**problem) for problem in kept["problems"]),
        tuple(Remark(**{**remark, "rows": tuple(remark["rows"])}) for remark in kept["remarks"]),
        tuple(_sheet(sheet) for sheet in kept["sheets"]),
        kept["stored"],
    )


def _sheet(kept: dict[str, Any]) -> SheetChange:
    rows = [
        RowChange(row["row"], row["key"], row["outcome"], tuple(ColumnChange(**change) for change in row["changes"]))
        for row in kept["rows"]
    ]
    rows += [RowChange(0, "", "same")] * kept["same"]
    return SheetChange(kept["sheet"], tuple(rows), tuple(kept["removed"]))
