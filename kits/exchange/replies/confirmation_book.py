"""The workbook of an order that comes back with what the supplier confirms, line by line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from kits.catalog.errors import Refusal
from kits.exchange.columns.layout import Column, fold_heading
from kits.exchange.files.raw_sheets import FileRefused, RawRow, RawSheet, is_blank
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.files.workbook_reader import read_workbook
from kits.exchange.reading.cells.cell import Cell, CellRefused
from kits.exchange.reading.cells.known_marks import KnownMarks
from kits.exchange.reading.cells.readers import read_cell
from kits.exchange.replies.reply_book import quote_cell
from kits.exchange.replies.reply_words import count_in, money_in
from kits.exchange.workbooks.order_book import DAY_SAID, KEY, NOTE, PACKS, PRICED

_COLUMNS = (
    Column(KEY, longest=50),
    Column(PACKS, "quantity"),
    Column(PRICED, "money"),
    Column(DAY_SAID, "day"),
    Column(NOTE, longest=400),
)
_HOW_TO_SAVE = "take the workbook of the order, fill it in, and save it as .xlsx"
LOOKED_AT = 40


@dataclass(slots=True)
class ConfirmedRow:
    """One row that the supplier filled in: its line, what he says by column as text, and what could not be read.

    ``key`` is blank where it was lost.
    """

    key: str
    row: int
    said: dict[str, str]
    unread: list[str]


def read_confirmation(file: SheetFile, number: str, today: date) -> tuple[ConfirmedRow, ...]:
    """Read the rows that say something, or refuse the file as a whole; a damaged cell damages only itself."""
    try:
        sheets = read_workbook(file.content, file.name)
    except FileRefused as refused:
        raise Refusal(f"{file.name}: {refused.reason}: {refused.remedy}.") from refused
    for sheet in sheets:
        place = _heading_row(sheet)
        if place is None:
            continue
        if not any(f"Order {number} to " in str(value) for row in sheet.rows[:place] for value in row.values):
            raise Refusal(f"{file.name} is the workbook of another order, not of {number}: {_HOW_TO_SAVE}.")
        rows = tuple(_rows(sheet, place, today))
        if not rows:
            raise Refusal(f"Nothing is filled in on {file.name}: type what the supplier said, or ask them.")
        return rows
    raise Refusal(
        f"{file.name} is no workbook of an order, for no sheet has the columns Key and {PACKS}: {_HOW_TO_SAVE}."
    )


def _heading_row(sheet: RawSheet) -> int | None:
    wanted = {fold_heading(KEY), fold_heading(PACKS)}
    for place, row in enumerate(sheet.rows[:LOOKED_AT]):
        if wanted <= {fold_heading(value) for value in row.values if isinstance(value, str)}:
            return place
    return None


def _rows(sheet: RawSheet, place: int, today: date) -> Iterator[ConfirmedRow]:
    by_heading = {fold_heading(column.name): column for column in _COLUMNS}
    columns = [
        (position, by_heading[heading])
        for position, value in enumerate(sheet.rows[place].values)
        if isinstance(value, str) and (heading := fold_heading(value)) in by_heading
    ]
    for row in sheet.rows[place + 1 :]:
        stated = _row(row, columns, today)
        if stated.said or stated.unread:
            yield stated


def _row(row: RawRow, columns: list[tuple[int, Column]], today: date) -> ConfirmedRow:
    stated = ConfirmedRow("", row.number, {}, [])
    for position, column in columns:
        value = row.values[position] if position < len(row.values) else None
        if is_blank(value):
            continue
        cell = Cell(_bare(column, value), column, KnownMarks(), row.formats.get(position, ""), today, False)
        try:
            read = read_cell(cell)
        except CellRefused as refused:
            stated.unread.append(f"{column.name} is “{quote_cell(value)}”: {refused.reason}; {refused.remedy}.")
            continue
        if column.name == KEY:
            stated.key = str(read)
        else:
            stated.said[column.name] = f"{read.normalize():f}" if isinstance(read, Decimal) else str(read)
    return stated


def _bare(column: Column, value: object) -> object:
    """The number alone of a price or of packs with words that are known."""
    if not isinstance(value, str):
        return value
    if column.name == PRICED and (money := money_in(value)):
        return money.number
    if column.name == PACKS and (count := count_in(value)):
        return count.number
    return value
