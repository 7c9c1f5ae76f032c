"""Cells that hold one of a few words, a unit, options, or a length of time."""

from __future__ import annotations

import difflib
import re
from datetime import date, datetime

from bom.errors import BomError
from bom.structure.shelf_life import parse_life, parse_minimum_life
from bom.structure.units import unit_named
from kits.catalog.folding import fold
from kits.catalog.options import canonical_options
from kits.exchange.reading.cells.cell import Cell, CellRefused, reason_and_remedy
from kits.exchange.reading.cells.known_marks import plain_number
from kits.exchange.reading.cells.marks import clean_mark, plainly_shown, read_mark, refuse_control
from kits.exchange.reading.cells.numbers import read_whole

WORKING_DAYS_A_WEEK = 5
UNLIMITED = "unlimited"
PACKS = frozenset(
    "bag bags box boxes carton ctn kit kits pack packs packet packets pk pkt pkg roll rolls set sets tube tin".split()
)
_LEAD = re.compile(r"(\d{1,4})\s*(w|wk|wks|week|weeks|d|day|days|wd)?\.?", re.IGNORECASE)
_YES = frozenset({"yes", "y", "true", "x", "1"})
_NO = frozenset({"no", "n", "false", "0"})


def read_text(cell: Cell) -> str:
    """Free text, kept as it stands but for spaces at its ends."""
    value = cell.value
    if isinstance(value, str) and value.isprintable():  # so there is neither control character nor line break
        text = value.strip("\u00a0 \u200b\ufeff")
    elif isinstance(value, str):
        refuse_control(value)
        text = plainly_shown(cell, value).replace("\r\n", "\n").replace("\r", "\n")
        text = text.strip("\u00a0 \t\n\u200b\ufeff")
        if cell.column.longest <= 500:
            text = text.replace("\n", " ")
    elif isinstance(value, float) and not value.is_integer():
        text = plain_number(value)
    else:
        text = read_mark(cell)
    _refuse_long(cell, text)
    return text


def _refuse_long(cell: Cell, text: str) -> None:
    if len(text) > cell.column.longest:
        raise CellRefused(f"it has {len(text)} characters, but at most {cell.column.longest} are kept", "shorten it")


def read_setting(cell: Cell) -> str:
    """The value of a setting as text; dates are written as 2026-03-04."""
    value = cell.value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (date, datetime)):
        return f"{value:%Y-%m-%d}"
    return read_text(cell)


def read_word(cell: Cell) -> str:
    """One of the words of the column."""
    words = cell.column.words
    typed = str(cell.value)
    word = fold(clean_mark(cell, typed)).replace(" ", "_").replace("-", "_")
    if word in words:
        return word
    near = difflib.get_close_matches(word, words, n=1)
    hint = f"; did you mean {near[0]}" if near else ""
    raise CellRefused("it is none of the words that can stand here", f"write {', '.join(words)}{hint}")


def read_yes_no(cell: Cell) -> bool:
    """Yes or no."""
    value = cell.value
    word = fold(str(value)) if isinstance(value, (str, bool, int)) else ""
    if word in _YES or word in _NO:
        if word not in {"yes", "no"}:
            cell.notes.append("marks such as x, true and 1 were read as yes; false and 0 as no")
        return word in _YES
    raise CellRefused("it is neither yes nor no", "write yes or no")


def read_unit(cell: Cell) -> str:
    """A unit of measure by its own name; a pack is no unit."""
    text = clean_mark(cell, str(cell.value))
    if fold(text).rstrip(".") in PACKS:
        raise CellRefused(
            "it is a pack, not a unit: what one holds differs from item to item", "count single pieces and write each"
        )
    try:
        return unit_named(text)
    except BomError as error:
        raise CellRefused(*reason_and_remedy(error, "write a unit such as each, mm or kg")) from error


def read_options(cell: Cell) -> str:
    """Options as ``name=value`` with semicolons between."""
    if not isinstance(cell.value, str):
        raise CellRefused("it is not a name and a value", "write it as compound=FKM")
    text = clean_mark(cell, cell.value)
    try:
        options = canonical_options(text)
    except BomError as error:
        raise CellRefused(*reason_and_remedy(error, "write them as name=value, with semicolons between")) from error
    _refuse_long(cell, options)
    return options


def read_parts_list(cell: Cell) -> tuple[str, ...]:
    """Several numbers with semicolons between; a single one is read like any other number."""
    if not isinstance(cell.value, str):
        return (read_mark(cell),)
    numbers = [clean_mark(cell, piece.strip(" ")) for piece in cell.value.split(";")]
    kept = {fold(number): number for number in reversed(numbers) if number}
    return tuple(reversed(kept.values()))


def read_lead(cell: Cell) -> int:
    """Working days; ``14 w`` is seventy."""
    if isinstance(cell.value, str) and not isinstance(cell.value, bool):
        found = _LEAD.fullmatch(cell.value.strip("\u00a0 \t"))
        if not found:
            raise CellRefused("it is no lead time", "write working days such as 10, or weeks such as 14 w")
        days = int(found[1])
        return days * WORKING_DAYS_A_WEEK if (found[2] or "").lower().startswith("w") and found[2] != "wd" else days
    return read_whole(cell)


def read_life(cell: Cell) -> int | str:
    """A shelf life in months, typed in years (``15``, ``2.5``) or months (``30 m``); or the word ``unlimited``."""
    value = cell.value
    text = (
        plain_number(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else str(value).strip()
    )
    if found := re.fullmatch(r"([1-9]\d{0,3})\s*(m|months?)", text, re.IGNORECASE):
        return int(found[1])
    if re.fullmatch(r"\d+,\d+", text):
        text = text.replace(",", ".")
        cell.notes.append("a comma was read as the decimal point")
    try:
        months = parse_life(text)
    except BomError as error:
        raise CellRefused(*reason_and_remedy(error, "write years such as 15 or 2.5, or unlimited")) from error
    return UNLIMITED if months is None else months


def read_least_life(cell: Cell) -> str:
    """The life that must be left at receipt: per cent of the whole, or months."""
    value = cell.value
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        if "%" not in cell.number_format:
            raise CellRefused("the number does not say whether per cent or months are meant", "write 75 % or 24 m")
        value = f"{plain_number(round(value * 100, 6))} %"
    text = " ".join(str(value).split())
    try:
        parse_minimum_life(text)
    except BomError as error:
        raise CellRefused(*reason_and_remedy(error, "write 75 % or 24 m")) from error
    found = re.fullmatch(r"(\d+)\s*(%|[mM])", text)
    return f"{found[1]} {found[2].lower()}" if found else text
