"""A sheet as comma-separated text that no spreadsheet program runs."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from kits.exchange.columns.layout import Layout
from kits.exchange.columns.values import CellValue

# The wide forms count as well: programs set to a language that is written with them run those too (from memory).
_STARTS_A_FORMULA = re.compile("'*[=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
_PLAIN_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")


@dataclass(frozen=True, slots=True)
class SheetRows:
    """A sheet with its rows as cell values."""

    sheet: Layout
    rows: Sequence[Sequence[CellValue]]


def text_name(sheet: Layout) -> str:
    """The name of the text file by which a sheet is known again."""
    return f"{sheet.name.casefold()}.csv"


def write_text(one: SheetRows, *, decimal_comma: bool = False) -> str:
    """Write one sheet as comma-separated text; what a spreadsheet program would run is quoted with an apostrophe.

    With ``decimal_comma`` cells are parted by semicolons, as programs set to such a country expect it.
    """
    out = io.StringIO()
    writer = csv.writer(out, delimiter=";" if decimal_comma else ",", lineterminator="\r\n")
    writer.writerow([column.name for column in one.sheet.columns])
    for row in one.rows:
        writer.writerow([_text_cell(value, decimal_comma) for value in row])
    return out.getvalue()


def _text_cell(value: CellValue, decimal_comma: bool) -> str:
    if value is None:
        return ""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (int, Decimal)):
        return _with_comma(f"{value:f}") if decimal_comma and isinstance(value, Decimal) else str(value)
    return quote_formula(value)


def _with_comma(number: str) -> str:
    whole, point, rest = number.partition(".")
    # Three digits behind a comma could be thousands: with a fourth they cannot.
    return f"{whole},{rest}0" if len(rest) == 3 else f"{whole},{rest}" if point else whole


def quote_formula(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet program would take for a formula; plain numbers stay.

    A text that has such an apostrophe of its own gets one more, so that taking one off gives every text back.
    """
    if _STARTS_A_FORMULA.match(text) and not _PLAIN_NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def unquote_formula(text: str) -> str:
    """Take off the apostrophe that keeps a spreadsheet program from running a text."""
    return text[1:] if text.startswith("'") and _STARTS_A_FORMULA.match(text) else text
