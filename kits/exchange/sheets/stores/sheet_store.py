"""What every way of storing a sheet can do, and what a load tells it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Protocol

from kits.exchange.columns.values import CellValue
from kits.exchange.problems.findings import Findings
from kits.exchange.problems.row_changes import RowChange
from kits.exchange.records.records import SheetRecord
from kits.people.models import User


@dataclass(frozen=True, slots=True)
class Occasion:
    """Who loads what, when, and under which key the ledger's postings are kept apart."""

    by: User | None
    at: datetime
    today: date
    key: str
    reason: str


class SheetStore(Protocol):
    """Where the rows of a sheet are kept."""

    def store(self, records: Sequence[SheetRecord], occasion: Occasion) -> tuple[RowChange, ...]:
        """Store the rows inside a transaction, and say what came of each."""

    def remove_others(self, records: Sequence[SheetRecord], occasion: Occasion, findings: Findings) -> tuple[str, ...]:
        """Remove what no row names, and say what it was."""

    def export_rows(self) -> Iterator[list[CellValue]]:
        """Everything that is stored, as rows of the sheet."""
