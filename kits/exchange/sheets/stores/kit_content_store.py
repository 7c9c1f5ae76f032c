"""The sheet KitContents: what each kit of a lot holds, from which lots, and what is owed to it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from kits.catalog.folding import fold
from kits.exchange.columns.stock_layouts import KIT_CONTENTS
from kits.exchange.columns.values import CellValue, cell_value, value_text
from kits.exchange.problems.findings import Findings
from kits.exchange.problems.row_changes import CHANGED, NEW, SAME, ColumnChange, RowChange
from kits.exchange.records.records import SheetRecord
from kits.exchange.sheets.stores.lookups import Lookups
from kits.exchange.sheets.stores.sheet_store import Occasion
from kits.stock.models import KitPiece, Lot
from kits.stock.packed_kits.writes import PieceKey, Recorded, read_pieces, remove_pieces, set_pieces


class KitContentStore:
    """Keeps the sheet KitContents."""

    def __init__(self, lookups: Lookups) -> None:
        self._lookups = lookups

    def store(self, records: Sequence[SheetRecord], occasion: Occasion) -> tuple[RowChange, ...]:
        """SheetRecord what the rows say; what they do not name stays as it is."""
        lots, stored = _lots(), read_pieces()
        rows = {id(record): self._key(record, lots) for record in records}
        recorded = {rows[id(record)]: _recorded(record, stored.get(rows[id(record)])) for record in records}
        set_pieces(recorded)
        return tuple(_outcome(record, stored.get(rows[id(record)]), recorded[rows[id(record)]]) for record in records)

    def remove_others(self, records: Sequence[SheetRecord], occasion: Occasion, findings: Findings) -> tuple[str, ...]:
        """Forget what no row names, and say what it was."""
        lots = _lots()
        named = {self._key(record, lots) for record in records}
        gone = [key for key in read_pieces() if key not in named]
        return remove_pieces(gone)

    def export_rows(self) -> Iterator[list[CellValue]]:
        """The rows of the sheet."""
        rows = KitPiece.objects.select_related("kit_lot__item", "item", "piece_lot")
        for row in rows.order_by("kit_lot__item__folded", "kit_lot__folded", "item__folded", "piece_lot__folded", "pk"):
            values = {
                "part_number": row.kit_lot.item.part_number,
                "lot": row.kit_lot.lot,
                "holds": row.item.part_number,
                "of_lot": row.piece_lot.lot if row.piece_lot else "",
                "quantity": row.quantity,
                "unit": row.item.stock_unit,
                "owed": row.owed,
            }
            yield [cell_value(column, values[column.name]) for column in KIT_CONTENTS.columns]

    def _key(self, record: SheetRecord, lots: dict[tuple[int, str], int]) -> PieceKey:
        kit, item = (self._lookups.key_of("item", record.text(name)) for name in ("part_number", "holds"))
        of_lot = record.text("of_lot")
        return lots[kit, fold(record.text("lot"))], item, lots[item, fold(of_lot)] if of_lot else None


def _lots() -> dict[tuple[int, str], int]:
    return {(item, folded): lot for item, folded, lot in Lot.objects.values_list("item_id", "folded", "pk")}


def _recorded(record: SheetRecord, before: Recorded | None) -> Recorded:
    quantity, owed = record.values["quantity"], record.values.get("owed", before.owed if before else 0)
    assert isinstance(quantity, int)
    return Recorded(quantity, owed if isinstance(owed, int) else 0)


def _outcome(record: SheetRecord, before: Recorded | None, after: Recorded) -> RowChange:
    changes = tuple(
        ColumnChange(name, value_text(column, was) if before else "", value_text(column, now))
        for name, was, now in (
            ("quantity", before.quantity if before else 0, after.quantity),
            ("owed", before.owed if before else 0, after.owed),
        )
        if (column := KIT_CONTENTS.column(name)) and was != now
    )
    return RowChange(record.row, record.key_shown, NEW if before is None else CHANGED if changes else SAME, changes)
