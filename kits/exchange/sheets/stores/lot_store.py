"""The sheet Lots: facts of a lot, and a count of what lies at one place. The ledger posts the difference."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from bom.structure.shelf_life import parse_cure
from kits.catalog.folding import fold
from kits.exchange.columns.stock_layouts import LOTS
from kits.exchange.columns.values import CellValue, cell_value, value_text
from kits.exchange.problems.findings import Findings
from kits.exchange.problems.row_changes import CHANGED, NEW, SAME, ColumnChange, RowChange
from kits.exchange.records.records import SheetRecord
from kits.exchange.sheets.stores.lookups import Lookups
from kits.exchange.sheets.stores.sheet_store import Occasion
from kits.exchange.sheets.stores.table_store import ROWS_AT_ONCE
from kits.stock.ledger import OnShelf
from kits.stock.models import Balance, Lot
from kits.stock.packed_kits.contents import lots_of_kits
from kits.stock.writes import ShelfCount, post_shelf_counts

_FACTS = {
    "cure": "cure",
    "last_use": "printed_last_use_on",
    "received": "received_on",
    "maker_batch": "maker_batch",
    "certificate": "certificate",
    "owner": "owner",
}
"""Columns that are written on the bag -> attributes of the lot."""

LotKey = tuple[int, str]


@dataclass(slots=True)
class _Stored:
    lots: dict[LotKey, Lot]
    shelf: dict[OnShelf, int]


class LotStore:
    """Keeps the sheet Lots in the ledger."""

    def __init__(self, lookups: Lookups) -> None:
        self._lookups = lookups

    def store(self, records: Sequence[SheetRecord], occasion: Occasion) -> tuple[RowChange, ...]:
        """Store the facts and post the counts of the rows, in a fixed number of statements."""
        stored = _read_stored()
        changes: dict[int, list[ColumnChange]] = {id(record): [] for record in records}
        known = set(stored.lots)
        self._store_facts(records, stored, changes, occasion.today)
        counts = []
        outcomes = []
        for record in records:
            account = self._account(record, stored)
            counted, held = record.values["quantity"], stored.shelf.get(account)
            assert isinstance(counted, int)
            counts.append(ShelfCount(account, counted))
            column = LOTS.column("quantity")
            if counted != (held or 0):
                before = "" if held is None else value_text(column, held)
                changes[id(record)].append(ColumnChange("quantity", before, value_text(column, counted)))
            is_new = self._lot_key(record) not in known or held is None
            outcome = NEW if is_new else CHANGED if changes[id(record)] else SAME
            outcomes.append(RowChange(record.row, record.key_shown, outcome, tuple(changes[id(record)])))
        if counts:
            post_shelf_counts(
                counts, by=occasion.by, at=occasion.at, key=f"{occasion.key}:lots", reason=occasion.reason
            )
        return tuple(outcomes)

    def _lot_key(self, record: SheetRecord) -> LotKey:
        return self._lookups.key_of("item", record.text("part_number")), fold(record.text("lot"))

    def _account(self, record: SheetRecord, stored: _Stored) -> OnShelf:
        lot = stored.lots[self._lot_key(record)]
        place = self._lookups.key_of("place", record.text("place"))
        return OnShelf(lot.pk, place, record.text("condition") or "usable", record.text("packet") or "sealed")

    def _store_facts(
        self, records: Sequence[SheetRecord], stored: _Stored, changes: dict[int, list[ColumnChange]], today: date
    ) -> None:
        new: dict[LotKey, Lot] = {}
        changed: dict[LotKey, Lot] = {}
        for record in records:
            key = self._lot_key(record)
            lot = stored.lots.get(key)
            if lot is None:
                lot = stored.lots[key] = new[key] = Lot(item_id=key[0], lot=record.text("lot"))
            found = _lay_facts(record, lot, today)
            if found:
                changes[id(record)] += found
                if key not in new:
                    changed[key] = lot
        Lot.objects.bulk_create(new.values(), batch_size=ROWS_AT_ONCE)
        if changed:
            names = [field.name for field in Lot._meta.concrete_fields if not field.primary_key]
            Lot.objects.bulk_create(
                changed.values(),
                batch_size=ROWS_AT_ONCE,
                update_conflicts=True,
                unique_fields=["id"],
                update_fields=names,
            )

    def remove_others(self, records: Sequence[SheetRecord], occasion: Occasion, findings: Findings) -> tuple[str, ...]:
        """Count everything that no row names as nothing, and say what was there."""
        stored = _read_stored()
        named = {self._account(record, stored) for record in records}
        gone = {account: held for account, held in stored.shelf.items() if held and account not in named}
        if not gone:
            return ()
        lots = {lot.pk: lot for lot in stored.lots.values()}
        counts = [ShelfCount(account, 0) for account in gone]
        key = f"{occasion.key}:lots-removed"
        post_shelf_counts(counts, by=occasion.by, at=occasion.at, key=key, reason=occasion.reason)
        column = LOTS.column("quantity")
        return tuple(
            f"{self._lookups.name_of('item', lots[account.lot_id].item_id)} / {lots[account.lot_id].lot} at "
            f"{self._lookups.name_of('place', account.place_id)}: {value_text(column, held)}"
            for account, held in gone.items()
        )

    def export_rows(self) -> Iterator[list[CellValue]]:
        """The rows of the sheet: what lies on the shelf, and 0 of those lots that are only with jobs or in kits."""
        rows = list(
            Balance.objects.on_shelf()
            .select_related("lot__item", "place")
            .order_by("lot__item__folded", "lot__folded", "pk")
        )
        lying = {row.lot_id for row in rows if row.quantity}
        elsewhere = set(Balance.objects.of_jobs().values_list("lot_id", flat=True)) | lots_of_kits()
        for row in rows:
            only_elsewhere = row.lot_id not in lying and row.lot_id in elsewhere
            if row.quantity or only_elsewhere:
                elsewhere.discard(row.lot_id)
                yield [cell_value(column, _shelf_value(row, column.name)) for column in LOTS.columns]


def _read_stored() -> _Stored:
    return _Stored(
        {(lot.item_id, lot.folded): lot for lot in Lot.objects.all()},
        {
            OnShelf(lot, place, condition, packet): quantity
            for lot, place, condition, packet, quantity in Balance.objects.on_shelf().values_list(
                "lot_id", "place_id", "condition", "packet", "quantity"
            )
            if place is not None
        },
    )


def _lay_facts(record: SheetRecord, lot: Lot, today: date) -> list[ColumnChange]:
    """Lay what the row says onto the lot; a column that the sheet does not have leaves it as it is."""
    changes = []
    for name, attribute in _FACTS.items():
        if name not in record.values:
            continue
        blank = None if name in {"last_use", "received"} else ""
        after = record.values[name] if record.values[name] is not None else blank
        before = getattr(lot, attribute)
        if before != after:
            column = LOTS.column(name)
            changes.append(ColumnChange(name, value_text(column, before), value_text(column, after)))
            setattr(lot, attribute, after)
    if lot.cure:
        lot.cure_on = parse_cure(lot.cure, today).starts_on
    else:
        lot.cure_on = None
    return changes


def _shelf_value(row: Balance, name: str) -> Any:
    if name in _FACTS:
        return getattr(row.lot, _FACTS[name])
    return {
        "part_number": row.lot.item.part_number,
        "lot": row.lot.lot,
        "quantity": row.quantity,
        "unit": row.lot.item.stock_unit,
        "place": row.place.place if row.place else "",
        "condition": row.condition,
        "packet": row.packet,
    }[name]
