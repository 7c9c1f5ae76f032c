"""The figures of one row of a list, worked out: orders to ring about, kits to pack, dying lots, what a part frees."""

from __future__ import annotations

from bom.explain import Explanations, Number
from bom.plan import Plan
from kits.planning.why_words import EMPTY_FIGURES, Said, said_of

MOST_ROWS = 80
"""So many rows of one sheet are worked out; the sheets of their parts tell of the others."""
FIGURES = {
    "expedite": (
        ("quantity", "Drawn too late"),
        ("need_on", "First needed"),
        ("days_late", "Late by"),
        ("bought_today_on", "Here on, if bought today"),
    ),
    "chase": (("quantity", "Still to come"), ("days_late", "Overdue by"), ("jobs", "Jobs that lean on it")),
    "pack": (("quantity", "To put together"), ("need_on", "First needed"), ("jobs", "Jobs that it is for")),
    "expiring": (("quantity", "Lies there"), ("unused", "Not used by then")),
    "frees": (("jobs", "Jobs that wait for it alone, over the whole shop"),),
}


class RowFigures:
    """Works out rows of one plan, what they share once."""

    def __init__(self, plan: Plan, most: int = MOST_ROWS) -> None:
        self.as_of, self.left = plan.shop.as_of, most
        self.explanations = Explanations(plan)

    def of(self, table: str, *row: str, unit: str = "") -> tuple[Said, ...]:
        """Every figure of one row that is not nil; nothing once enough rows were worked out."""
        if self.left <= 0:
            return ()
        self.left -= 1
        told = (
            said_of(self.explanations.why(Number(table, column, row)), label, self.as_of, unit)
            for column, label in FIGURES[table]
        )
        return tuple(said for said in told if said.figure not in EMPTY_FIGURES)
