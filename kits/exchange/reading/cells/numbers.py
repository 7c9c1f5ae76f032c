"""Cells that hold numbers: what is written in place of a number, and which of its commas and points separate what."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from kits.catalog.days.words import in_full
from kits.exchange.reading.cells.cell import Cell, CellRefused
from kits.exchange.reading.cells.marks import refuse_control

COMMA_READ = "decimal comma"
POINT_BEFORE_THREE = "point before three digits"

_WORDS = {
    "v": "V (varies) is no number",
    "ar": "AR (as required) is no number",
    "a/r": "A/R (as required) is no number",
    "a.r.": "A.R. (as required) is no number",
    "ref": "REF (for reference only) is no number",
    "*": "a star stands for a note somewhere else, not for a number",
    "x": "a cross is no number",
    "-": "a dash is no number",
    "?": "a question mark is no number",
    "tbd": "TBD (to be decided) is no number",
    "n/a": "N/A is no number",
    "na": "NA is no number",
    "nil": "NIL is no number",
    "set": "SET is no number",
}
_HOW_MANY = "write how many, or leave the line out"
_SPACES = re.compile("[ \u00a0\u2009\u202f']")
_PLAIN = re.compile(r"[+-]?\d+(\.\d+)?")
_ENDS_IN_DOT = re.compile(r"[+-]?\d+\.|[+-]?\.\d+")
_BRACKETED = re.compile(r"\(\s*[\d.,]+\s*\)")
_EXPONENT = re.compile(r"[+-]?\d+([.,]\d+)?[eE][+-]?\d+")
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:(?P<mark>[.,])\d{3})(?:(?P=mark)\d{3})*(?:(?P<point>[.,])\d+)?")
_WITH_UNIT = re.compile(r"([+-]?[\d.,]+)\s*([A-Za-z]+\.?)")
_FRACTION = re.compile(r"\d+\s*/\s*\d+|\d+\s+\d+/\d+|\d*[\u00bc-\u00be\u2150-\u215e]")


def read_number(cell: Cell) -> Decimal:
    """A number, whatever separators it is written with, as long as only one reading is possible."""
    value = cell.value
    if isinstance(value, bool):
        raise CellRefused(f"{str(value).upper()} is no number", "write how many")
    if isinstance(value, (int, float)):
        return _exact(value)
    if isinstance(value, (datetime, date)):
        day = value.date() if isinstance(value, datetime) else value
        raise CellRefused(
            f"a spreadsheet made the date {in_full(day)} of it", "format the cell as a number and type it again"
        )
    if isinstance(value, (time, timedelta)):
        raise CellRefused("a spreadsheet made a time of day of it", "format the cell as a number and type it again")
    text = str(value).strip("\u00a0\u2007\u202f \t\r\n")
    refuse_control(text)
    number = _read_text(cell, text.replace("\u2212", "-"))
    if not cell.in_text_file:
        cell.notes.append("numbers kept as text were read as numbers")
    return number


def _exact(value: int | float) -> Decimal:
    """The number with the 15 digits that a spreadsheet keeps, so that 0.1 + 0.2 is 0.3."""
    if isinstance(value, int):
        return Decimal(value)
    number = Decimal(format(value, ".15g"))
    if not number.is_finite():
        raise CellRefused("it is no number", "write how many")
    return number


def _read_text(cell: Cell, text: str) -> Decimal:
    if _PLAIN.fullmatch(text):
        if re.fullmatch(r"[+-]?[1-9]\d{0,2}\.\d{3}", text):
            cell.tags.append(POINT_BEFORE_THREE)
        return Decimal(text)
    says = _WORDS.get(text.casefold())
    if says:
        raise CellRefused(says, _HOW_MANY)
    if _BRACKETED.fullmatch(text):
        raise CellRefused(
            "a number in brackets may mean less than nothing, or for reference only",
            "write it without brackets, or leave the line out",
        )
    if text.endswith("*") or text.startswith("*"):
        raise CellRefused("a star stands for a note somewhere else", "write the number alone")
    if _EXPONENT.fullmatch(text):
        raise CellRefused("it is written with an exponent", "write it out in digits")
    if _FRACTION.fullmatch(text):
        raise CellRefused("it is written as a fraction", "write it with decimals")
    return _read_separators(cell, text)


def _read_separators(cell: Cell, text: str) -> Decimal:
    number = text
    if _SPACES.search(text):
        if not re.fullmatch(r"[+-]?\d{1,3}(?:[ \u00a0\u2009\u202f']\d{3})+(?:[.,]\d+)?", text):
            raise _no_number(text)
        number = _SPACES.sub("", text)
        parted_by = "apostrophes" if "'" in text else "spaces"
        cell.notes.append(f"{parted_by} were read as separators of thousands")
        if "," in number:
            cell.notes.append("a comma was read as the decimal point")
            cell.tags.append(COMMA_READ)
        return Decimal(number.replace(",", "."))
    grouped = _GROUPED.fullmatch(number)
    if grouped and grouped["point"] and grouped["point"] != grouped["mark"]:
        return _read_thousands(cell, number, grouped["mark"], grouped["point"])
    if grouped and not grouped["point"]:
        mark = grouped["mark"]
        if number.count(mark) > 1:
            return _read_thousands(cell, number, mark, "")
        if mark == "," and not number.lstrip("+-").startswith("0"):
            one, other = number.replace(",", "."), number.replace(",", "")
            raise CellRefused(f"it may mean {one} or {other}", f"write {one} or {other}")
    if re.fullmatch(r"[+-]?\d+,\d+", number):
        cell.notes.append("a comma was read as the decimal point")
        cell.tags.append(COMMA_READ)
        return Decimal(number.replace(",", "."))
    if _ENDS_IN_DOT.fullmatch(number):
        return Decimal(number)
    raise _no_number(text)


def _read_thousands(cell: Cell, number: str, mark: str, point: str) -> Decimal:
    words = {",": "commas", ".": "points"}[mark]
    cell.notes.append(f"{words} were read as separators of thousands")
    if point == ",":
        cell.notes.append("a comma was read as the decimal point")
        cell.tags.append(COMMA_READ)
    return Decimal(number.replace(mark, "").replace(",", "."))


def _no_number(text: str) -> CellRefused:
    if found := _WITH_UNIT.fullmatch(text):
        return CellRefused(
            "a number and a unit stand in one cell", f"write {found[1]} here and the unit in its own column"
        )
    return CellRefused("it is no number", "write it in digits")


def read_stock(cell: Cell) -> Decimal:
    """A number that is zero or more."""
    number = read_number(cell)
    if number < 0:
        raise CellRefused("it is below zero", "write zero or more")
    return number


def read_quantity(cell: Cell) -> Decimal:
    """A number above zero."""
    number = read_number(cell)
    if number <= 0:
        raise CellRefused("it is not above zero", "write how many, or leave the line out")
    return number


def read_whole(cell: Cell) -> int:
    """A whole number within the limits of its column."""
    number = read_number(cell)
    column = cell.column
    if number != number.to_integral_value():
        raise CellRefused("it is no whole number", "write a whole number")
    if not column.least <= number <= column.most:
        raise CellRefused(f"it does not lie between {column.least} and {column.most}", "correct it")
    return int(number)


def read_rate(cell: Cell) -> Decimal:
    """A number between 0 and 100; a cell shown in per cent holds a hundredth of it."""
    text = cell.value
    if isinstance(text, str) and text.strip().endswith("%"):
        cell.value = text.strip()[:-1]
    number = read_number(cell)
    if "%" in cell.number_format:
        number *= 100
        cell.notes.append("the cell is shown in per cent and was read so")
    if not 0 <= number <= 100:
        raise CellRefused("it does not lie between 0 and 100", "write how many of 100")
    if number != round(number, 4):
        raise CellRefused("it has more than 4 decimals", "round it")
    return number


def read_money(cell: Cell) -> Decimal:
    """A price, zero or more, without its currency."""
    number = read_stock(cell)
    # A number of three hundred digits cannot even be rounded, so its size comes first.
    if number >= Decimal(10) ** 12:
        raise CellRefused("it is too large for a price", "correct it")
    if number != round(number, 6):
        raise CellRefused("it has more than 6 decimals", "round it")
    return number
