"""What the engine finds wrong with the shop as it would stand after a load, tied back to rows of the files."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from bom.demand.checks import check
from bom.errors import BomError, Fault
from bom.values import Shop
from kits.catalog.caching.progress import report
from kits.catalog.folding import fold_key
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.cells.cell import begin_small, reason_and_remedy
from kits.exchange.records.records import SheetRecord
from kits.planning.snapshot.shop import take_snapshot

_OTHERWISE = "correct this row, or the rows that name it"


def shop_faults(today: date) -> tuple[Fault, ...]:
    """Every fault of the shop's lists as they are stored now."""
    return shop_and_faults(today)[1]


def shop_and_faults(today: date) -> tuple[Shop | None, tuple[Fault, ...]]:
    """The shop as it is stored now, if it can be read at all, and every fault of its lists."""
    report("Checking the whole shop as it would be")
    try:
        shop = take_snapshot(today, None)
        return shop, check(shop)
    except BomError as error:
        return None, (Fault("", (), "", str(error)),)


def refuse_faults(faults: Iterable[Fault], records: Sequence[SheetRecord], findings: Findings) -> None:
    """Note each fault as a problem, with the row of the file that it is about when there is one."""
    rows: dict[str, list[tuple[str, SheetRecord]]] = {}
    for record in records:
        rows.setdefault(record.sheet.name, []).append((record.key, record))
    exact = {(sheet, key): record for sheet, keyed in rows.items() for key, record in keyed}
    for fault in faults:
        key = fold_key(*fault.key)
        named = (exact.get((fault.sheet, fold_key(*one))) for one in (fault.key, *fault.also))
        found = next(filter(None, named), None) or next(
            (record for own, record in rows.get(fault.sheet, ()) if fault.key and own.startswith(key)), None
        )
        reason, remedy = _halves(fault)
        if found is not None:
            found.refuse(findings, fault.column, reason, remedy)
        else:
            entry = " / ".join(part for part in fault.key if part)
            findings.refuse(fault.sheet, None, fault.column, entry, reason, remedy)


def _halves(fault: Fault) -> tuple[str, str]:
    """What is wrong, and what to do: the engine parts them by the last semicolon, or by a colon."""
    reason, mark, remedy = fault.says.rstrip(".").rpartition("; ")
    return (begin_small(reason), remedy) if mark else reason_and_remedy(BomError(fault.says), _OTHERWISE)


def remark_faults(faults: Iterable[Fault], findings: Findings) -> None:
    """Say which faults the shop's lists had before and still have."""
    for fault in faults:
        findings.remark(fault.sheet, fault.column, f"this was wrong before and still is: {fault.says.rstrip('.')}")
