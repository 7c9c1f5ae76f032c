"""Lots that a list brings in: what the door of the storeroom would ask about one is asked about its row."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from bom.values import Shop
from kits.catalog.folding import fold
from kits.exchange.columns.stock_layouts import LOTS, ORDERS
from kits.exchange.problems.findings import Findings
from kits.exchange.records.records import SheetRecord
from kits.planning.questions.old_deliveries import asked_of_lots
from kits.purchasing.receiving.life import life_of, too_old
from kits.stock.models import Lot, Posting
from kits.stock.words import Condition
from kits.stock.writes import LotFacts

SAY_WHY = "put it into quarantine, or say why it is accepted"
ROWS_AT_ONCE = 400


@dataclass(frozen=True, slots=True)
class NewLot:
    """A row that brings pieces of a lot which the shop did not have; the names are folded."""

    file: str
    row: int
    part_number: str
    lot: str


def find_new_lots(records: Sequence[SheetRecord]) -> tuple[NewLot, ...]:
    """The rows that bring lots in to be used, read before they are stored.

    The first list of a shop brings in what lies there, whatever was asked for when it was bought.
    """
    rows = [record for record in records if record.sheet is LOTS and _may_be_used(record)]
    if not rows or not Posting.objects.exists():
        return ()
    known = set(Lot.objects.values_list("item__folded", "folded"))
    found: dict[tuple[str, str], NewLot] = {}
    for record in rows:
        key = fold(record.text("part_number")), fold(record.text("lot"))
        if key not in known:
            found.setdefault(key, NewLot(record.file, record.row, *key))
    return tuple(found.values())


def ask_about_old_lots(
    arrivals: Sequence[NewLot], shop: Shop, sheets: Collection[str], today: date, findings: Findings
) -> None:
    """Ask about the lots that are older than was asked for, once they are stored; ``shop`` has them.

    ``sheets`` came with them: where the orders did, they are as they stand now that the lots are here.
    """
    if not arrivals:
        return
    stored = {(lot.item.folded, lot.folded): lot for lot in _stored(arrivals)}
    asked = asked_of_lots(
        shop, {(lot.item.part_number, lot.lot) for lot in stored.values()}, with_orders=ORDERS.name in sheets
    )
    for arrival in arrivals:
        lot = stored[arrival.part_number, arrival.lot]
        life = life_of(lot.item, LotFacts(received_on=lot.received_on), lot, today)
        lacks = too_old(lot.item, life, asked.get((lot.item.part_number, lot.lot)))
        if lacks:
            column = "cure" if lot.cure else "last_use"
            findings.ask(LOTS.name, arrival.row, column, f"the lot {lacks}", arrival.file, SAY_WHY)


def _may_be_used(record: SheetRecord) -> bool:
    return bool(record.values.get("quantity")) and record.text("condition") != Condition.QUARANTINE


def _stored(arrivals: Sequence[NewLot]) -> Iterable[Lot]:
    for start in range(0, len(arrivals), ROWS_AT_ONCE):
        codes = {arrival.lot for arrival in arrivals[start : start + ROWS_AT_ONCE]}
        yield from Lot.objects.filter(folded__in=codes).select_related("item")
