"""The sheet Issued: what is reserved for, bagged for, issued to and returned from jobs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from kits.catalog.folding import fold
from kits.exchange.columns.values import CellValue, cell_value, value_text
from kits.exchange.columns.work_layouts import ISSUED
from kits.exchange.problems.findings import Findings
from kits.exchange.problems.row_changes import CHANGED, NEW, SAME, ColumnChange, RowChange
from kits.exchange.records.records import SheetRecord
from kits.exchange.sheets.stores.lookups import Lookups
from kits.exchange.sheets.stores.sheet_store import Occasion
from kits.picking.models import Bag
from kits.picking.writes import bags_for
from kits.schedule.models import Job
from kits.stock.models import Lot
from kits.stock.queries import JobStock, job_stock
from kits.stock.words import HeldAs
from kits.stock.writes import JobCount, set_job_counts

Key = tuple[int, int, str]


class IssueStore:
    """Keeps the sheet Issued in the ledger."""

    def __init__(self, lookups: Lookups) -> None:
        self._lookups = lookups

    def store(self, records: Sequence[SheetRecord], occasion: Occasion) -> tuple[RowChange, ...]:
        """Bring what is with the jobs to what the rows say; the shelf is not touched."""
        lots = {(item, folded): lot for item, folded, lot in Lot.objects.values_list("item_id", "folded", "pk")}
        held = _held()
        counts, outcomes = [], []
        for record in records:
            count = self._count(record, lots, held)
            counts.append(count)
            before = held.get((count.job_id, count.lot_id, count.state))
            outcomes.append(_outcome(record, before, count.quantity))
        if counts:
            key = f"{occasion.key}:issued"
            set_job_counts(counts, by=occasion.by, at=occasion.at, key=key, reason=occasion.reason)
            _give_bags(counts)
        return tuple(outcomes)

    def _count(self, record: SheetRecord, lots: dict[tuple[int, str], int], held: dict[Key, JobStock]) -> JobCount:
        item = self._lookups.key_of("item", record.text("part_number"))
        job, lot = self._lookups.key_of("job", record.text("job")), lots[item, fold(record.text("lot"))]
        state, quantity = record.text("state"), record.values["quantity"]
        assert isinstance(quantity, int)
        stored = held.get((job, lot, state))
        place = record.text("place") if "place" in record.values else (stored.place if stored else "")
        return JobCount(job, lot, state, quantity, self._lookups.key_of("place", place) if place else None)

    def remove_others(self, records: Sequence[SheetRecord], occasion: Occasion, findings: Findings) -> tuple[str, ...]:
        """Take back everything that no row names, and say what it was."""
        lots = {(item, folded): lot for item, folded, lot in Lot.objects.values_list("item_id", "folded", "pk")}
        held = _held()
        counts = [self._count(record, lots, held) for record in records]
        named = {(count.job_id, count.lot_id, count.state) for count in counts}
        gone = [stock for stock_key, stock in held.items() if stock_key not in named]
        # What was returned is taken back first, for nothing may ever hold less than nothing.
        gone.sort(key=lambda stock: stock.state != "returned")
        for number, stock in enumerate(gone):
            key = f"{occasion.key}:issued-removed:{number}"
            set_job_counts([_nothing_of(stock)], by=occasion.by, at=occasion.at, key=key, reason=occasion.reason)
        return tuple(f"{stock.job} / {stock.part_number} / {stock.lot} / {stock.state}" for stock in gone)

    def export_rows(self) -> Iterator[list[CellValue]]:
        """The rows of the sheet."""
        for stock in job_stock():
            yield [cell_value(column, getattr(stock, column.name)) for column in ISSUED.columns]


def _give_bags(counts: Sequence[JobCount]) -> None:
    """What is listed as bagged lies in a bag with a number, where the list says that it stands."""
    bagged = [count for count in counts if count.state == HeldAs.BAGGED and count.quantity]
    jobs = list(Job.objects.filter(pk__in={count.job_id for count in bagged}).order_by("pk"))
    bags = bags_for(jobs, [(count.job_id, count.lot_id) for count in bagged]) if bagged else []
    for bag, count in zip(bags, bagged, strict=True):
        if count.place_id is not None and bag.place_id != count.place_id:
            Bag.objects.filter(pk=bag.pk).update(place_id=count.place_id)


def _held() -> dict[Key, JobStock]:
    return {(stock.job_id, stock.lot_id, stock.state): stock for stock in job_stock()}


def _nothing_of(stock: JobStock) -> JobCount:
    gone = replace(stock, quantity=0)
    return JobCount(gone.job_id, gone.lot_id, gone.state, gone.quantity)


def _outcome(record: SheetRecord, before: JobStock | None, quantity: int) -> RowChange:
    column = ISSUED.column("quantity")
    changes = []
    if before is None or before.quantity != quantity:
        held = "" if before is None else value_text(column, before.quantity)
        changes.append(ColumnChange("quantity", held, value_text(column, quantity)))
    if "place" in record.values and (before is None or fold(before.place) != fold(record.text("place"))):
        place = before.place if before else ""
        if place or record.text("place"):
            changes.append(ColumnChange("place", place, record.text("place")))
    outcome = NEW if before is None else CHANGED if changes else SAME
    return RowChange(record.row, record.key_shown, outcome, tuple(changes))
