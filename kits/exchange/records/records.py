"""Rows of a sheet turned into records: every cell read, all that is wrong collected, nothing dropped in silence."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache

from kits.catalog.caching.progress import report_rows
from kits.catalog.folding import fold_key
from kits.exchange.columns.layout import Column, Layout
from kits.exchange.columns.values import value_text
from kits.exchange.files.raw_sheets import RawRow, is_blank
from kits.exchange.problems.findings import Findings, quote_value
from kits.exchange.reading.cells.cell import Cell, CellRefused
from kits.exchange.reading.cells.days import DAY_CELL, ORDER_READ
from kits.exchange.reading.cells.known_marks import KnownMarks
from kits.exchange.reading.cells.numbers import COMMA_READ, POINT_BEFORE_THREE
from kits.exchange.reading.cells.readers import read_cell
from kits.exchange.reading.headings import SheetHeadings
from kits.exchange.reading.stray_rows import stray_row


@dataclass(slots=True)
class SheetRecord:
    """One row of a sheet: its values by column name, only of the columns that the sheet has; None for a blank.

    Quantities are decimals as typed until their unit is known, then millionths.
    """

    sheet: Layout
    file: str
    row: int
    values: dict[str, object]
    faulty: bool = False

    @property
    def key(self) -> str:
        """The folded natural key, as one text."""
        return fold_key(*(_key_part(self.values.get(column.name)) for column in self.sheet.key))

    @property
    def key_shown(self) -> str:
        """The natural key as it is quoted in a sentence."""
        return " / ".join(filter(None, (value_text(one, self.values.get(one.name)) for one in self.sheet.key)))

    def text(self, column: str) -> str:
        """The text in a column, empty when blank."""
        value = self.values.get(column)
        return "" if value is None else str(value)

    def refuse(
        self, findings: Findings, column: str, reason: str, remedy: str, typed: object = None, number_format: str = ""
    ) -> None:
        """Note a problem of this row; what was ``typed`` into the cell is looked up again where it is not at hand."""
        self.faulty = True
        quoted = quote_value(typed, number_format)
        findings.refuse(self.sheet.name, self.row, column, quoted, reason, remedy, self.file)
        if typed is None:
            findings.to_quote.add((self.file, self.sheet.name, self.row, column))

    def ask(self, findings: Findings, column: str, doubt: str) -> None:
        """Ask about a cell of this row that can hardly be meant."""
        findings.ask(self.sheet.name, self.row, column, doubt, self.file)


def _key_part(value: object) -> str | date | None:
    return value if value is None or isinstance(value, (str, date)) else str(value)


@dataclass(slots=True)
class _Readings:
    """What the cells of one column had to be read by, to see whether the column agrees with itself."""

    rows: dict[str, list[tuple[SheetRecord, object]]]

    def note(self, tags: list[str], record: SheetRecord, value: object) -> None:
        for tag in tags:
            self.rows.setdefault(tag, []).append((record, value))


def read_records(
    headings: SheetHeadings, known: Mapping[str, KnownMarks], today: date, findings: Findings
) -> list[SheetRecord]:
    """Read the rows below the headings; a row with a problem is kept, marked faulty, so that others can name it.

    Each row of the sheet is let go as its record is made, for a long list must not lie in the memory twice.
    """
    records: list[SheetRecord] = []
    readings: dict[str, _Readings] = {}
    columns = [_ColumnReader(position, column, headings, known, today) for position, column in headings.columns]
    for row in report_rows(f"Reading {headings.sheet.name}", _let_go(headings.rows), len(headings.rows)):
        if says := stray_row(headings, row):
            findings.refuse(
                headings.sheet.name, row.number, says.column, says.value, says.reason, says.remedy, headings.file
            )
            continue
        records.append(_read_row(headings, row, columns, findings, readings))
    _check_readings(readings, findings)
    return records


def _let_go(rows: list[RawRow]) -> Iterator[RawRow]:
    rows.reverse()
    while rows:
        yield rows.pop()


_MOST_REMEMBERED = 1000


@dataclass(frozen=True, slots=True)
class _Reading:
    """What a cell was read as, and what has to be said about it."""

    value: object
    notes: Sequence[str]
    tags: list[str]


class _ColumnReader:
    """Reads the cells of one column. Most columns repeat a few values, so the first thousand are remembered."""

    def __init__(
        self,
        position: int,
        column: Column,
        headings: SheetHeadings,
        known: Mapping[str, KnownMarks],
        today: date,
    ) -> None:
        self.position = position
        self.column = column
        self.default = default_of(column)
        self.known = known.get(column.name) or _NOTHING_KNOWN
        self.today = today
        self.in_text_file = headings.in_text_file
        self.remembered: dict[tuple[type, object, str], _Reading | CellRefused] = {}

    def read(self, value: object, number_format: str) -> _Reading | CellRefused:
        """What one filled cell was read as, or why it is refused."""
        # One, 1.0 and TRUE are equal, and are not read alike.
        key = (value.__class__, value, number_format)
        found = self.remembered.get(key)
        if found is None:
            cell = Cell(value, self.column, self.known, number_format, self.today, self.in_text_file)
            try:
                found = _Reading(read_cell(cell), cell.notes, cell.tags)
            except CellRefused as refused:
                found = refused.with_traceback(None)
            if len(self.remembered) < _MOST_REMEMBERED:
                self.remembered[key] = found
        return found


class _Row:
    """Never used but for its dictionary: those of one class share their keys, which halves the memory of long lists."""


@cache
def _row_class(sheet: Layout, names: tuple[str, ...]) -> type[_Row]:
    return type(f"_RowOf{sheet.name}", (_Row,), {})


def _read_row(
    headings: SheetHeadings,
    row: RawRow,
    columns: Sequence[_ColumnReader],
    findings: Findings,
    readings: dict[str, _Readings],
) -> SheetRecord:
    values: dict[str, object] = vars(_row_class(headings.sheet, headings.ordered_names)())
    record = SheetRecord(headings.sheet, headings.file, row.number, values)
    cells, formats = row.values, row.formats
    filled = len(cells)
    for reader in columns:
        column = reader.column
        value = cells[reader.position] if reader.position < filled else None
        if value is None or is_blank(value):
            values[column.name] = reader.default
            if column.required:
                record.refuse(findings, column.name, "it is blank", "fill it in", "")
            continue
        reading = reader.read(value, formats.get(reader.position, ""))
        if isinstance(reading, CellRefused):
            values[column.name] = None
            record.refuse(
                findings, column.name, reading.reason, reading.remedy, value, formats.get(reader.position, "")
            )
            continue
        values[column.name] = reading.value
        for note in reading.notes:
            findings.remark(headings.sheet.name, column.name, note, row.number, headings.file)
        if reading.tags:
            readings.setdefault(column.name, _Readings({})).note(reading.tags, record, value)
    return record


_NOTHING_KNOWN = KnownMarks()


@cache
def default_of(column: Column) -> object:
    """What a blank in the column means; None where it means nothing."""
    return read_cell(Cell(column.default, column, _NOTHING_KNOWN, in_text_file=True)) if column.default else None


def _check_readings(readings: dict[str, _Readings], findings: Findings) -> None:
    """Refuse readings that another cell of the same column makes doubtful."""
    for column, reading in readings.items():
        if COMMA_READ in reading.rows:
            other = reading.rows[COMMA_READ][0]
            for record, value in reading.rows.get(POINT_BEFORE_THREE, ()):
                record.refuse(
                    findings,
                    column,
                    f"the point may separate thousands, for row {other[0].row} writes {other[1]} with a decimal comma",
                    "write all numbers of the column in one way",
                    value,
                )
        texts = reading.rows.get(ORDER_READ, [])
        if DAY_CELL in reading.rows:
            for record, value in texts:
                record.refuse(
                    findings,
                    column,
                    "it is text among real dates: the others may have been read with day and month changed over",
                    "check every date of the column and write it as 2026-03-04",
                    value,
                )
        elif texts:
            _check_order(column, texts, findings)


def _check_order(column: str, texts: list[tuple[SheetRecord, object]], findings: Findings) -> None:
    orders: dict[bool, list[tuple[SheetRecord, object]]] = {}
    for record, value in texts:
        pieces = str(value).strip().replace("-", "/").split("/")
        if pieces[0] != pieces[1]:
            orders.setdefault(int(pieces[0]) > 12, []).append((record, value))
    if len(orders) < 2:
        return
    fewer = min(orders.values(), key=len)
    for record, value in fewer:
        record.refuse(
            findings,
            column,
            "other dates of the column have day and month the other way round",
            "write it as 2026-03-04",
            value,
        )
