"""Whom to call: orders that are overdue, and orders that come after the day on which they are needed."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from bom.answers.rows import chase_rows, everything, late_wear_rows
from bom.reading import Reading
from kits.catalog.amounts import Amount
from kits.planning.lists.buy_lists import ForWhom
from kits.planning.words.item_names import ItemName


@dataclass(frozen=True, slots=True)
class OrderCall:
    """An order line to call about; for a late one ``bought_today_on`` is when a fresh order would be here.

    ``kind`` is chase (overdue), expedite (late for a sure need) or late_wear (late for wear that may be found).
    ``balance`` is how the shortage of its part comes about, where no other line of the sheet tells it.
    """

    kind: str
    order: str
    line: str
    supplier: str
    part_number: str
    what: str
    leads_to: str
    quantity: Amount
    promised: date
    need_on: date | None
    days_late: int
    bought_today_on: date | None
    jobs: tuple[ForWhom, ...]
    balance: str


def chase_calls(reading: Reading, names: Mapping[str, ItemName]) -> tuple[OrderCall, ...]:
    """Every open order line that should have come before today."""
    return tuple(order_call(reading, "chase", row, names) for row in chase_rows(reading.plan))


def expedite_calls(
    reading: Reading,
    rows: Collection[dict[str, Any]],
    names: Mapping[str, ItemName],
    balances: Mapping[str, str],
) -> tuple[OrderCall, ...]:
    """Order lines that sure needs wait for beyond their day; the line that balances stands once for each part."""
    seen: set[str] = set()
    calls = []
    for row in rows:
        part = row["part_number"]
        balance = "" if part in seen else balances.get(part, "")
        calls.append(order_call(reading, "expedite", row, names, balance))
        seen.add(part)
    return tuple(calls)


def late_wear_calls(
    reading: Reading, names: Mapping[str, ItemName], parts: Collection[str] | None = None
) -> tuple[OrderCall, ...]:
    """Order lines that cover wear after its day; of all parts, or of some."""
    return tuple(
        order_call(reading, "late_wear", row, names)
        for row in late_wear_rows(reading.plan, everything(reading.plan))
        if parts is None or row["part_number"] in parts
    )


def order_call(
    reading: Reading, kind: str, row: dict[str, Any], names: Mapping[str, ItemName], balance: str = ""
) -> OrderCall:
    """One order line as it is shown."""
    name = names[row["part_number"]]
    return OrderCall(
        kind=kind,
        order=row["order"],
        line=row["line"],
        supplier=reading.suppliers.get((row["order"], row["line"]), ""),
        part_number=name.part_number,
        what=name.what,
        leads_to=name.leads_to,
        quantity=name.stock_amount(row["quantity"]),
        promised=date.fromisoformat(row["promised"]),
        need_on=iso_day(row.get("need_on")),
        days_late=row["days_late"],
        bought_today_on=iso_day(row.get("bought_today_on")),
        jobs=tuple(ForWhom(name, is_job=name in reading.jobs) for name in row["jobs"]),
        balance=balance,
    )


def iso_day(text: str | None) -> date | None:
    """A day of the plan's rows."""
    return date.fromisoformat(text) if text else None
