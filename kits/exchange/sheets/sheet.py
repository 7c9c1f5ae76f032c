"""A sheet as one object: what it looks like, where its rows are kept, and what must hold of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Model

from kits.catalog.days.doubts import DayDoubts
from kits.exchange.columns.layout import Layout
from kits.exchange.problems.findings import Findings
from kits.exchange.records.names import Names
from kits.exchange.records.records import SheetRecord
from kits.exchange.sheets.stores.lookups import Lookups
from kits.exchange.sheets.stores.sheet_store import SheetStore

RowRule = Callable[[SheetRecord, Names, Findings], None]
RowsRule = Callable[[Sequence[SheetRecord], Names, Findings], None]
DayRule = Callable[[Sequence[SheetRecord], DayDoubts], Iterable[tuple[SheetRecord, str]]]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet. ``tables`` hold its rows, each after those that it names; none where the ledger keeps them.

    ``model`` is what the back office lists of it. ``of_the_catalog`` says which mark a change sets. ``bring`` lays
    what a row is called over the known names, faulty or not; ``check_row`` holds for one row, ``check_rows`` for all
    together, and ``odd_days`` asks about the days of the column ``asked_day``.
    """

    layout: Layout
    make_store: Callable[[Lookups], SheetStore]
    tables: tuple[type[Model], ...] = ()
    model: type[Model] | None = None
    of_the_catalog: bool = True
    bring: Callable[[Names, SheetRecord], None] | None = None
    check_row: RowRule | None = None
    check_rows: RowsRule | None = None
    asked_day: str = ""
    odd_days: DayRule | None = None

    @property
    def name(self) -> str:
        """What it is called."""
        return self.layout.name
