"""The part numbers that rows name and nobody has, with what the rows say of them: to be added as items."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable

from kits.catalog.folding import fold
from kits.catalog.words import ItemKind, StockUnit
from kits.exchange.columns.layout import Column
from kits.exchange.problems.findings import Findings, MissingItem
from kits.exchange.records.names import Names
from kits.exchange.records.records import SheetRecord

MOST_MISSING = 1000
_UNITS = frozenset(StockUnit.values)


def note_missing(
    records: Iterable[SheetRecord], names: Names, alike: Callable[[str, str], str], findings: Findings
) -> None:
    """Gather the unknown numbers in the order in which they first stand, with the kind that their rows speak for."""
    spelled: dict[str, str] = {}
    seen: dict[str, set[Column]] = defaultdict(set)
    units: dict[str, str] = {}
    for record in records:
        for column in record.sheet.columns:
            number = record.text(column.name) if column.reads == "part" else ""
            if number and names.item(number) is None:
                key = fold(number)
                spelled.setdefault(key, number)
                seen[key].add(column)
                if column.name in ("child", "part_number") and record.text("unit") in _UNITS:
                    units.setdefault(key, record.text("unit"))
    for key, number in list(spelled.items())[:MOST_MISSING]:
        what, _ = findings.described.get(key, ("", ""))
        kind = _kind(seen[key])
        unit = StockUnit.EACH.value if kind != ItemKind.PART.value else units.get(key, StockUnit.EACH.value)
        findings.missing.append(MissingItem(number, what, unit, kind, alike("part", number)))


def _kind(seen: set[Column]) -> str:
    """What a number must be to stand where it stands; what holds something and lies in nothing may be a pump."""
    kinds = {column.is_a for column in seen}
    if kinds & {ItemKind.PUMP.value, ItemKind.KIT.value}:
        return (ItemKind.PUMP if ItemKind.PUMP.value in kinds else ItemKind.KIT).value
    if ItemKind.ASSEMBLY.value in kinds:
        return (ItemKind.ASSEMBLY if any(column.inside for column in seen) else ItemKind.PUMP).value
    return ItemKind.PART.value
