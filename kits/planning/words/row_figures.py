"""The figures of one row of a list, worked out: orders to call about, kits to pack, dying lots, what a part frees."""

from __future__ import annotations

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
from kits.planning.words.why_words import EMPTY_FIGURES, Said, said_of

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
    "chase": (("quantity", "Still to come"), ("days_late", "Overdue by"), ("jobs", "Jobs that depend on it")),
    "pack": (("quantity", "To put together"), ("need_on", "First needed"), ("jobs", "Jobs that it is for")),
    "expiring": (("quantity", "On hand"), ("unused", "Not used by then")),
    "frees": (("jobs", "Jobs in which no other part is missing or late, over the whole shop"),),
}


def row_figures(plan: Plan, table: str, row: tuple[str, ...], unit: str = "") -> tuple[Said, ...]:
    """Every figure of one row that is not nil; amounts say their unit.

    Raises
    ------
    KeyError
        If the list has no such row.
    """
    explanations, as_of = Explanations(plan), plan.shop.as_of
    told = (
        said_of(explanations.why(Number(table, column, row)), label, as_of, unit) for column, label in FIGURES[table]
    )
    return tuple(said for said in told if said.figure not in EMPTY_FIGURES)


def rows_of_part(plan: Plan, part_number: str, unit: str) -> tuple[Said, ...]:
    """The rows of these lists that are about one part, each opening to its figures."""
    shown = everything(plan)
    rows: Iterator[tuple[str, str, tuple[str, ...]]] = (
        (table, label.format(**row), tuple(row[name] for name in key))
        for table, label, key, listed in (
            ("expedite", "To expedite: order {order}, {line}", ("order", "line"), expedite_rows(plan, shown)),
            ("late_wear", "Covers wear late: order {order}, {line}", ("order", "line"), late_wear_rows(plan, shown)),
            ("chase", "Overdue: order {order}, {line}", ("order", "line"), chase_rows(plan)),
            ("pack", "To put together here", ("kit",), pack_rows(plan, shown)),
            ("expiring", "Runs out of life: lot {lot}", ("part_number", "lot"), expiring_rows(plan)),
            ("frees", "No other part is missing or late", ("part_number",), frees_rows(plan, shown)),
        )
        for row in listed
        if row.get("part_number", row.get("kit")) == part_number
    )
    told = ((label, row_figures(plan, table, key, unit)) for table, label, key in rows)
    return tuple(Said(label, parts[0].figure, parts=parts) for label, parts in told if parts)
