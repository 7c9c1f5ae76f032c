"""Typed quantities turned into whole millionths of the item's stock unit."""

from __future__ import annotations

from decimal import Decimal

from bom.errors import BomError
from bom.structure.units import to_millionths
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.cells.cell import reason_and_remedy
from kits.exchange.records.names import ItemFacts, Names
from kits.exchange.records.records import SheetRecord


def settle_quantities(record: SheetRecord, names: Names, findings: Findings) -> None:
    """Convert every quantity of the row, or refuse it with the unit it should have had."""
    columns = [column for column in record.sheet.columns if column.reads in {"quantity", "stock"}]
    if not columns:
        return
    facts = names.item(record.text(record.sheet.unit_of))
    if facts is None or not facts.stock_unit:
        return
    for column in columns:
        quantity = record.values.get(column.name)
        if not isinstance(quantity, Decimal):
            continue
        # A blank unit is the stock unit; only the column named quantity has a unit beside it.
        unit = (record.text("unit") if column.name == "quantity" else "") or facts.stock_unit
        record.values[column.name] = _millionths(record, column.name, quantity, unit, facts, findings)
    record.values.pop("unit", None)


def _millionths(
    record: SheetRecord, column: str, quantity: Decimal, unit: str, facts: ItemFacts, findings: Findings
) -> int | None:
    try:
        return to_millionths(quantity, unit, facts.stock_unit)
    except BomError as error:
        at_fault = "unit" if "measure" in str(error) and record.values.get("unit") else column
        why, remedy = reason_and_remedy(error, f"write how many {facts.stock_unit}")
        reason = f"{facts.part_number} is kept in {facts.stock_unit}: {why}"
        record.refuse(findings, at_fault, reason, remedy)
        return None
