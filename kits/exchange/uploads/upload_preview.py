"""What an upload changes, sheet by sheet, as a page shows it: all of it, or one kind of change, or one sheet."""

from __future__ import annotations

from dataclasses import dataclass

from kits.catalog.caching.progress import group_digits
from kits.exchange.problems.row_changes import CHANGED, NEW, SAME, RowChange, SheetChange
from kits.exchange.uploads.outcome import Outcome

MOST_ROWS = 500
PROBLEM, REMOVED = "problem", "removed"
_WORDS = {PROBLEM: "problems", NEW: "new", CHANGED: "changed", SAME: "the same", REMOVED: "removed"}
_WORDS_OF_ONE = {PROBLEM: "problem"}


@dataclass(frozen=True, slots=True)
class SheetPreview:
    """The rows of one sheet that differ from what is stored; ``more`` counts those beyond the first few hundred."""

    sheet: str
    counts: str
    same: int
    rows: tuple[RowChange, ...]
    more: int
    removed: tuple[str, ...]

    @property
    def says(self) -> str:
        """How many rows differ, and how many of them are shown."""
        count = len(self.rows) + self.more
        shown = f"; the first {group_digits(len(self.rows))} are shown" if self.more else ""
        return f"{group_digits(count)} row{' that differs' if count == 1 else 's that differ'}{shown}"


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of change that can be looked at by itself."""

    name: str
    says: str


@dataclass(frozen=True, slots=True)
class UploadPreview:
    """What the page of an upload shows, and how it can be narrowed down."""

    kinds: tuple[Kind, ...]
    names: tuple[str, ...]
    sheets: tuple[SheetPreview, ...]
    shown: str
    sheet: str
    removed: int

    @property
    def problems_shown(self) -> bool:
        """Whether the problems are among what is asked for."""
        return self.shown in ("", PROBLEM)


def upload_preview(outcome: Outcome, shown: str = "", sheet: str = "") -> UploadPreview:
    """Everything that an upload changes, or of it one kind of change, or one sheet."""
    counts = {
        PROBLEM: len(outcome.problems),
        **{name: sum(one.count(name) for one in outcome.sheets) for name in (NEW, CHANGED, SAME)},
        REMOVED: sum(len(one.removed) for one in outcome.sheets),
    }
    shown = shown if counts.get(shown) else ""
    names = tuple(one.sheet for one in outcome.sheets)
    sheet = sheet if sheet in names else ""
    previews = (_preview(one, shown) for one in outcome.sheets if sheet in ("", one.sheet))
    return UploadPreview(
        tuple(Kind(name, _counted(name, counts[name])) for name in _WORDS if counts[name]),
        names,
        tuple(one for one in previews if not shown or one.rows or one.removed or (shown == SAME and one.same)),
        shown,
        sheet,
        counts[REMOVED],
    )


def _preview(change: SheetChange, shown: str) -> SheetPreview:
    wanted = {shown} if shown else {NEW, CHANGED}
    differ = [row for row in change.rows if row.outcome in wanted and row.outcome != SAME]
    removed = change.removed if shown in ("", REMOVED) else ()
    return SheetPreview(
        change.sheet,
        ", ".join(_counted(name, change.count(name)) for name in (NEW, CHANGED, SAME))
        + (f", {_counted(REMOVED, len(change.removed))}" if change.removed else ""),
        change.count(SAME),
        tuple(differ[:MOST_ROWS]),
        max(0, len(differ) - MOST_ROWS),
        removed,
    )


def _counted(name: str, count: int) -> str:
    return f"{group_digits(count)} {_WORDS_OF_ONE.get(name, _WORDS[name]) if count == 1 else _WORDS[name]}"
