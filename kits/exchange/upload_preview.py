"""What an upload changes, sheet by sheet, as a page shows it."""

from __future__ import annotations

from dataclasses import dataclass

from kits.exchange.outcome import Outcome
from kits.exchange.row_changes import CHANGED, NEW, SAME, RowChange

MOST_ROWS = 500


@dataclass(frozen=True, slots=True)
class SheetPreview:
    """The rows of one sheet that differ from what is stored; ``more`` counts those beyond the first few hundred."""

    sheet: str
    new: int
    changed: int
    same: int
    rows: tuple[RowChange, ...]
    more: int
    removed: tuple[str, ...]


def sheet_previews(outcome: Outcome) -> tuple[SheetPreview, ...]:
    """Every sheet of an upload."""
    previews = []
    for sheet in outcome.sheets:
        differ = [row for row in sheet.rows if row.outcome != SAME]
        counts = (sheet.count(NEW), sheet.count(CHANGED), sheet.count(SAME))
        shown, more = tuple(differ[:MOST_ROWS]), max(0, len(differ) - MOST_ROWS)
        previews.append(SheetPreview(sheet.sheet, *counts, shown, more, sheet.removed))
    return tuple(previews)
