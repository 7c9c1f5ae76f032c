"""Rows that are no entries: headings repeated among the data, group titles, totals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kits.catalog.folding import fold
from kits.exchange.columns.layout import Column, fold_heading, headings_of
from kits.exchange.files.raw_sheets import RawRow, is_blank
from kits.exchange.problems.findings import quote_value
from kits.exchange.reading.headings import SheetHeadings

_TOTALS = frozenset(
    {
        "total",
        "totals",
        "subtotal",
        "sub-total",
        "sub total",
        "grand total",
        "sum",
        "sums",
        "total:",
        "sum:",
        "subtotal:",
    }
)
_LONGEST_HEADING = 60
"""No heading and no word for a total is longer; a cell of thirty thousand characters need not be looked at."""


@dataclass(frozen=True, slots=True)
class StrayRow:
    """Why a row is taken for something else than an entry."""

    column: str
    value: str
    reason: str
    remedy: str


def stray_row(headings: SheetHeadings, row: RawRow) -> StrayRow | None:
    """Say what a row is if it is no entry, else None."""
    filled = [
        (column, row.values[position])
        for position, column in headings.columns
        if position < len(row.values) and not is_blank(row.values[position])
    ]
    if not filled:
        first = next((value for value in row.values if not is_blank(value)), "")
        return StrayRow(
            "",
            quote_value(first),
            "only columns without a heading are filled in this row",
            "delete the row or give the columns a heading",
        )
    beyond = next((value for value in row.values[headings.width :] if not is_blank(value)), None)
    if beyond is not None and headings.in_text_file:
        return StrayRow(
            "",
            quote_value(beyond),
            "this row has more cells than there are headings",
            "put quotation marks around a text that holds the delimiter",
        )
    texts = [(column, value) for column, value in filled if isinstance(value, str)]
    if texts and _repeats(headings, texts[0]):
        repeated = sum(_repeats(headings, text) for text in texts)
        if repeated >= 2 and repeated * 2 >= len(filled):
            return StrayRow(texts[0][0].name, "", "this row repeats the headings", "delete the row")
    if _lacks(headings, filled):
        for column, value in texts:
            if len(value) <= _LONGEST_HEADING and fold(value) in _TOTALS:
                return StrayRow(
                    column.name, quote_value(value), "this row looks like a total, not an entry", "delete the row"
                )
    needed = sum(column.required for _, column in headings.columns)
    if needed > 1 and len(filled) == 1 and texts:
        column, value = texts[0]
        return StrayRow(
            column.name,
            quote_value(value),
            "this row holds nothing but one text, so it looks like a title among the entries",
            "delete the row, or fill in what is missing",
        )
    return None


def _repeats(headings: SheetHeadings, text: tuple[Column, str]) -> bool:
    column, value = text
    return len(value) <= _LONGEST_HEADING and headings_of(headings.sheet).get(fold_heading(value)) is column


def _lacks(headings: SheetHeadings, filled: Sequence[tuple[object, object]]) -> bool:
    present = {id(column) for column, _ in filled}
    return any(column.required and id(column) not in present for _, column in headings.columns)
