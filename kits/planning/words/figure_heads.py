"""The figures of one part as they stand before they are opened: label and figure, read without working them out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from bom.answers.rows import figures_of_item
from bom.explain import Explanations, Number, Rule, Unit, Why
from bom.plan import Plan
from bom.reading import PurchaseRow
from kits.planning.queries import reading_of
from kits.planning.words.why_words import (
    BUY_FIGURES,
    DEMAND_FIGURES,
    EMPTY_FIGURES,
    Said,
    figure_of,
    said_of,
)

LABELS = {("demand", column): label for column, label in DEMAND_FIGURES}
LABELS |= {("buy", column): label for column, label in BUY_FIGURES}
UNITS = {
    "expected": Unit.EXPECTED,
    "chance_enough": Unit.CHANCE,
    "packs": Unit.COUNT,
    "supplier": Unit.WORD,
    "price": Unit.MONEY,
    "need_on": Unit.DAY,
    "order_by": Unit.DAY,
    "days_late": Unit.DAYS,
    "earliest_arrival": Unit.DAY,
    "wear_advice": Unit.WORD,
}
"""What a column is counted in, where that is not pieces."""


@dataclass(frozen=True, slots=True)
class FigureHead:
    """One figure of a part under its label; table and column name it to whoever wants it worked out."""

    table: str
    column: str
    label: str
    figure: str


def figure_heads(plan: Plan, part_number: str, unit: str) -> tuple[FigureHead, ...]:
    """Every figure of one part that is not nil, as `part_figures` works them out."""
    return tuple(head for head in _heads(plan, part_number, unit) if head.figure not in EMPTY_FIGURES)


def worked_figure(plan: Plan, part_number: str, table: str, column: str, unit: str) -> Said | None:
    """One of them worked out; None where there is no such figure."""
    label = LABELS.get((table, column))
    if label is None or (table == "buy" and _bought(plan, part_number) is None):
        return None
    why = Explanations(plan).why(Number(table, column, (part_number,)))
    return said_of(why, label, plan.shop.as_of, unit)


def _heads(plan: Plan, part_number: str, unit: str) -> Iterator[FigureHead]:
    values: dict[str, Mapping[str, object]] = {"demand": figures_of_item(plan, part_number)}
    bought = _bought(plan, part_number)
    if bought is not None:
        values["buy"] = _values_of(bought)
    for (table, column), label in LABELS.items():
        if table in values and (column != "wear_advice" or (bought and bought.short_wear)):
            value = values[table][column]
            says = "advice" if column == "wear_advice" else column
            why = Why(says, value, UNITS.get(column, Unit.PIECES), Rule.GIVEN)  # type: ignore[arg-type]
            figure = figure_of(why, plan.shop.as_of)
            in_unit = unit and why.unit is Unit.PIECES and figure != "0"
            yield FigureHead(table, column, label, f"{figure} {unit}" if in_unit else figure)


def _bought(plan: Plan, part_number: str) -> PurchaseRow | None:
    return next((row for row in reading_of(plan).purchases if row.part_number == part_number), None)


def _values_of(row: PurchaseRow) -> dict[str, object]:
    purchase = row.purchase
    return {
        "top_up": row.top_up,
        "net": row.net,
        "packs": purchase.packs,
        "order_quantity": purchase.order_quantity,
        "surplus": purchase.order_quantity - row.net,
        "supplier": purchase.supplier,
        "price": purchase.price,
        "need_on": row.need_on,
        "order_by": row.order_by,
        "days_late": row.days_late,
        "earliest_arrival": purchase.arrives_on,
        "wear_advice": row.wear_advice,
    }
