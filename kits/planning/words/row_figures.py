"""The figures of one row of a list, worked out: orders to ring about, kits to pack, dying lots, what a part frees."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from bom.answers.rows import (
    chase_rows,
    everything,
    expedite_rows,
    expiring_rows,
    frees_rows,
    late_wear_rows,
    pack_rows,
)
from bom.explain import Explanations, Number
from bom.plan import Plan
from kits.catalog.amounts import Amount
from kits.catalog.models import Item
from kits.planning.words.why_words import EMPTY_FIGURES, Said, said_of

MOST_ROWS = 40
"""So many rows of each list of a sheet are worked out; the sheets of their parts tell of the others."""
FIGURES = {
    "expedite": (
        ("quantity", "Drawn too late"),
        ("need_on", "First needed"),
        ("days_late", "Late by"),
        ("bought_today_on", "Here on, if bought today"),
    ),
    "late_wear": (
        ("quantity", "Covers wear too late"),
        ("need_on", "First needed"),
        ("days_late", "Late by"),
        ("bought_today_on", "Here on, if bought today"),
    ),
    "chase": (("quantity", "Still to come"), ("days_late", "Overdue by"), ("jobs", "Jobs that lean on it")),
    "pack": (("quantity", "To put together"), ("need_on", "First needed"), ("jobs", "Jobs that it is for")),
    "expiring": (("quantity", "Lies there"), ("unused", "Not used by then")),
    "frees": (("jobs", "Jobs in which no other part is missing or late, over the whole shop"),),
}


class RowFigures:
    """Works out rows of one plan, what they share once."""

    def __init__(self, plan: Plan, most: int = MOST_ROWS) -> None:
        self.as_of, self.most = plan.shop.as_of, most
        self.told: Counter[str] = Counter()
        self.explanations = Explanations(plan)

    def of(self, table: str, *row: str, unit: str = "") -> tuple[Said, ...]:
        """Every figure of one row that is not nil; nothing once enough rows of its list were worked out."""
        if self.told[table] >= self.most:
            return ()
        self.told[table] += 1
        told = (
            said_of(self.explanations.why(Number(table, column, row)), label, self.as_of, unit)
            for column, label in FIGURES[table]
        )
        return tuple(said for said in told if said.figure not in EMPTY_FIGURES)


def rows_of_part(plan: Plan, item: Item) -> tuple[Said, ...]:
    """The rows of these lists that are about one part, each opening to its figures."""
    figures, shown = RowFigures(plan, most=10**6), everything(plan)
    unit = Amount.of(0, item.stock_unit).unit
    rows: Iterator[tuple[str, str, tuple[str, ...]]] = (
        (table, label.format(**row), tuple(row[name] for name in key))
        for table, label, key, listed in (
            ("expedite", "To hurry: order {order}, {line}", ("order", "line"), expedite_rows(plan, shown)),
            ("late_wear", "Covers wear late: order {order}, {line}", ("order", "line"), late_wear_rows(plan, shown)),
            ("chase", "Overdue: order {order}, {line}", ("order", "line"), chase_rows(plan)),
            ("pack", "To put together here", ("kit",), pack_rows(plan, shown)),
            ("expiring", "Runs out of life: lot {lot}", ("part_number", "lot"), expiring_rows(plan)),
            ("frees", "No other part is missing or late", ("part_number",), frees_rows(plan, shown)),
        )
        for row in listed
        if row.get("part_number", row.get("kit")) == item.part_number
    )
    told = ((label, figures.of(table, *key, unit=unit)) for table, label, key in rows)
    return tuple(Said(label, parts[0].figure, parts=parts) for label, parts in told if parts)
