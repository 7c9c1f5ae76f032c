"""What came of the rows of a sheet, whichever way they were stored."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from kits.catalog.caching.progress import group_digits

NEW, CHANGED, SAME = "new", "changed", "same"
MOST_KEPT = 2000
"""Of how many rows of a sheet a preview keeps what they bring."""


@dataclass(frozen=True, slots=True)
class ColumnChange:
    """What one column of a row holds before and after, as texts."""

    column: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class RowChange:
    """One row of a file: what it is called, whether it is new, changed or the same, and what changes."""

    row: int
    key: str
    outcome: str
    changes: tuple[ColumnChange, ...] = ()


@dataclass(frozen=True, slots=True)
class SheetChange:
    """All rows of one sheet, and the entries that are removed because the sheet replaces all others."""

    sheet: str
    rows: tuple[RowChange, ...]
    removed: tuple[str, ...] = ()

    def count(self, outcome: str) -> int:
        """How many rows are new, changed or the same."""
        return sum(row.outcome == outcome for row in self.rows)

    @property
    def changes_something(self) -> bool:
        """Whether anything differs from what is stored."""
        return bool(self.removed) or any(row.outcome != SAME for row in self.rows)

    @property
    def says(self) -> str:
        """The counts in words."""
        counts = [f"{group_digits(self.count(outcome))} {outcome}" for outcome in (NEW, CHANGED, SAME)]
        removed = f", {group_digits(len(self.removed))} removed" if self.removed else ""
        return f"{self.sheet}: {', '.join(counts)}{removed}"


def digest_of_changes(sheets: Iterable[SheetChange]) -> str:
    """What tells these changes, with what stood before each, from any others."""
    said = hashlib.sha256()
    for sheet in sheets:
        differ = [(row.key, row.outcome, row.changes) for row in sheet.rows if row.outcome != SAME]
        said.update(repr((sheet.sheet, differ, sheet.removed)).encode())
    return said.hexdigest()
