"""Lists out: the finished rows of a page as comma-separated text or a workbook, in the columns that the page shows."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Generic, TypeVar

from django.utils import timezone

from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.folding import fold
from kits.exchange.columns.sheet_text import quote_formula
from kits.exchange.workbooks.sheet_writer import write_list
from kits.exchange.workbooks.streamed_book import GENERAL, StreamedBook

Row = TypeVar("Row")
ListValue = str | int | Decimal | date | datetime | Amount | None


@dataclass(frozen=True, slots=True)
class ListColumn(Generic[Row]):
    """One column of a list: its name in the address, its heading, and what stands in it for a row.

    Rows that the database sorts cannot be sorted by what is only said of them when they are shown.
    """

    name: str
    heading: str
    value_of: Callable[[Row], ListValue]
    figure: bool = False
    sorts: bool = True


def list_as_csv(columns: Sequence[ListColumn[Row]], rows: Iterable[Row], *, decimal_comma: bool = False) -> bytes:
    """Write the rows as separated text that a spreadsheet program reads as text and never runs.

    Commas stand between the values, or semicolons where numbers are written with a decimal comma.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n", delimiter=";" if decimal_comma else ",")
    writer.writerow([column.heading for column in columns])
    for row in rows:
        values = [column.value_of(row) for column in columns]
        texts = [_as_text(value) for value in values]
        if decimal_comma:
            numbers = (isinstance(value, Decimal | Amount) for value in values)
            texts = [text.replace(".", ",") if number else text for text, number in zip(texts, numbers, strict=True)]
        writer.writerow(texts)
    # The mark at the start lets a spreadsheet program read the signs of every language.
    return out.getvalue().encode("utf-8-sig")


def list_as_workbook(title: str, columns: Sequence[ListColumn[Row]], rows: Iterable[Row]) -> bytes:
    """Write the rows as a workbook of one sheet, headings frozen, texts as texts."""
    values = [[_as_cell(column.value_of(row)) for column in columns] for row in rows]
    book = StreamedBook()
    write_list(book, _sheet_name(title), [column.heading for column in columns], [GENERAL] * len(columns), values)
    return book.content()


def sort_key(value: ListValue) -> tuple[bool, Any]:
    """How a value is compared with the others of its column: nothing comes last."""
    if value is None or value == "":
        return True, 0
    if isinstance(value, Amount):
        return False, value.millionths
    return False, fold(value) if isinstance(value, str) else value


def _sheet_name(title: str) -> str:
    return "".join(sign for sign in title if sign not in "[]:*?/\\'")[:31].strip() or "List"


def _as_cell(value: ListValue) -> str | int | Decimal | date | None:
    if isinstance(value, Amount):
        return Decimal(value.millionths) / ONE
    if isinstance(value, datetime):
        return _moment(value)
    return value


def text_of(value: ListValue) -> str:
    """A value as it is read; days both as a file and as a page write them."""
    return f"{value:%Y-%m-%d} {value.day} {value:%b %Y}" if isinstance(value, date) else _plain(value)


def _as_text(value: ListValue) -> str:
    text = _plain(value)
    return quote_formula(text) if isinstance(value, str) else text


def _plain(value: ListValue) -> str:
    if value is None:
        return ""
    if isinstance(value, Amount):
        return value.figure
    if isinstance(value, datetime):
        return _moment(value)
    return value.isoformat() if isinstance(value, date) else str(value)


def _moment(value: datetime) -> str:
    return f"{timezone.localtime(value):%Y-%m-%d %H:%M}"
