"""Columns of the kinds that most sheets have."""

from __future__ import annotations

from datetime import date
from typing import Any

from kits.exchange.columns.layout import Column


def part_column(
    name: str = "part_number", *, key: bool = False, required: bool = True, also: tuple[str, ...] = (), **facts: Any
) -> Column:
    """A column of part numbers."""
    return Column(name, "part", required=required, key=key, longest=100, also=also, **facts)


def mark_column(
    name: str,
    *,
    key: bool = False,
    required: bool = False,
    default: str = "",
    also: tuple[str, ...] = (),
    **facts: Any,
) -> Column:
    """A column of texts that name something and are never read as numbers or dates."""
    return Column(name, "mark", required=required, key=key, default=default, longest=100, also=also, **facts)


def yes_no_column(name: str, default: str = "", also: tuple[str, ...] = ()) -> Column:
    """A column that says yes or no."""
    return Column(name, "yes_no", default=default, words=("yes", "no"), also=also)


def word_column(
    name: str, words: str, *, default: str = "", required: bool = False, key: bool = False, also: tuple[str, ...] = ()
) -> Column:
    """A column of a few words to choose from."""
    return Column(name, "word", required=required, default=default, key=key, words=tuple(words.split()), also=also)


UNIT = Column("unit", "unit", also=("uom", "um"))
QUANTITY = Column("quantity", "quantity", required=True, also=("qty", "count"))
PRIORITY = Column("priority", "whole", default="5", least=1, most=9)
EXAMPLE_DAY = date(2026, 3, 16)
