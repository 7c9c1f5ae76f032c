"""Which reader takes which kind of column."""

from __future__ import annotations

from collections.abc import Callable

from kits.exchange.files.raw_sheets import NO_RESULT, Unread
from kits.exchange.reading.cells.cell import Cell, CellRefused
from kits.exchange.reading.cells.days import read_cure, read_day, read_use_by
from kits.exchange.reading.cells.marks import read_mark
from kits.exchange.reading.cells.numbers import read_money, read_quantity, read_rate, read_stock, read_whole
from kits.exchange.reading.cells.words import (
    read_lead,
    read_least_life,
    read_life,
    read_options,
    read_parts_list,
    read_setting,
    read_text,
    read_unit,
    read_word,
    read_yes_no,
)

READERS: dict[str, Callable[[Cell], object]] = {
    "text": read_text,
    "mark": read_mark,
    "part": read_mark,
    "parts_list": read_parts_list,
    "setting": read_setting,
    "word": read_word,
    "yes_no": read_yes_no,
    "whole": read_whole,
    "quantity": read_quantity,
    "stock": read_stock,
    "rate": read_rate,
    "money": read_money,
    "day": read_day,
    "use_by": read_use_by,
    "lead": read_lead,
    "unit": read_unit,
    "options": read_options,
    "life": read_life,
    "least_life": read_least_life,
    "cure": read_cure,
}


def read_cell(cell: Cell) -> object:
    """What a filled cell means, or why it cannot be said."""
    if cell.value is NO_RESULT:
        raise CellRefused(
            "the cell holds a formula whose result was never stored",
            "open the file in a spreadsheet program and save it, or paste the value",
        )
    if isinstance(cell.value, Unread):
        raise CellRefused(f"the cell holds {cell.value.says}", "correct the formula or paste the value")
    return READERS[cell.column.reads](cell)
