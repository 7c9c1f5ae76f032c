"""One sheet read in a single pass: its values, and what a spreadsheet shows but the values do not tell.

That is: merged cells, what is hidden, formulas without a result, the formats of numbers.
"""

from __future__ import annotations

import math
from typing import IO, Any
from xml.parsers import expat

from openpyxl.utils import column_index_from_string, get_column_letter
from openpyxl.utils.datetime import MAC_EPOCH, WINDOWS_EPOCH, from_excel, from_ISO8601

from kits.catalog.caching.progress import ROWS_BETWEEN, report
from kits.exchange.files.package_parts import BookParts, SheetPart, local_name, parse_part, plain_text
from kits.exchange.files.raw_sheets import NO_RESULT, FileRefused, RawRow, RawSheet, Unread, is_blank

MOST_ROWS = 250_000
MOST_COLUMNS = 200
MOST_CELLS = 8_000_000
MOST_MERGED = 20_000
LONGEST_SHARED = 30
"""Texts up to so many characters are numbers, names and words that other cells repeat, and are kept once."""
LONGEST_TEXT = 32_767
"""What a cell holds in the programs that people use; from memory."""

_DIGITS = "0123456789"
_TRUE = frozenset({"1", "true"})


def read_sheet(part: IO[bytes], sheet: SheetPart, book: BookParts, file: str) -> RawSheet:
    """Read one sheet from its part of the workbook, row by row, whatever size the file says it has."""
    stream = _Stream(sheet, book)
    parse_part(part, stream.start_root, stream.end, stream.parser)
    raw = RawSheet(
        file=file,
        name=sheet.title,
        rows=stream.rows,
        merged=tuple(stream.merged),
        hidden=sheet.hidden,
        hidden_columns=frozenset(stream.hidden_columns),
    )
    if stream.beyond:
        raw.remarks = (f"the columns after {get_column_letter(MOST_COLUMNS)} are not read",)
    return raw


class _Stream:
    """Follows the elements of a sheet. Rows count from 1, columns from 0."""

    def __init__(self, sheet: SheetPart, book: BookParts) -> None:
        self.title = sheet.title
        self.texts = book.texts
        self.known = book.known
        self.formats = book.formats
        self.epoch = MAC_EPOCH if book.from_1904 else WINDOWS_EPOCH
        self.rows: list[RawRow] = []
        self.merged: list[str] = []
        self.hidden_columns: set[int] = set()
        self.beyond = False
        self.cells = 0
        self.positions: dict[str, int] = {}
        self.pieces: list[str] = []
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.number = 0
        self.row_hidden = False
        self.values: list[object] = []
        self.row_formats: dict[int, str] | None = None
        self.in_cell = self.in_row = self.aside = False
        self.position = -1
        self.kind = "n"
        self.style: str | None = None
        self.is_formula = self.has_result = False

    def start_root(self, tag: str, attributes: dict[str, str]) -> None:
        """The first element says whether all of them carry a prefix, which is seldom and costs time."""
        prefixed = ":" in tag
        self.parser.StartElementHandler = self.start_prefixed if prefixed else self.start
        self.parser.EndElementHandler = self.end_prefixed if prefixed else self.end

    def start_prefixed(self, tag: str, attributes: dict[str, str]) -> None:
        self.start(local_name(tag), attributes)

    def end_prefixed(self, tag: str) -> None:
        self.end(local_name(tag))

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        if tag == "c" and self.in_row:
            reference = attributes.get("r")
            if reference:
                letters = reference.rstrip(_DIGITS)
                position = self.positions.get(letters)
                self.position = self._place(letters) if position is None else position
            else:
                self.position += 1
            self.kind = attributes.get("t", "n")
            self.style = attributes.get("s")
            self.in_cell = True
            self.is_formula = self.has_result = False
        elif not self.in_cell:
            self._start_outside(tag, attributes)
        elif tag == "v":
            self.has_result = self.kind == "str"
            self.parser.CharacterDataHandler = self.pieces.append
        elif tag == "t" and not self.aside and self.kind == "inlineStr":
            self.parser.CharacterDataHandler = self.pieces.append
        elif tag == "f":
            self.is_formula = True
        elif tag == "rPh":
            self.aside = True

    def end(self, tag: str) -> None:
        if tag == "v" or tag == "t":
            self.parser.CharacterDataHandler = None
        elif tag == "c":
            if self.in_cell:
                self._take_cell()
                self.in_cell = False
        elif tag == "row":
            self._take_row()
        elif tag == "rPh":
            self.aside = False

    def _start_outside(self, tag: str, attributes: dict[str, str]) -> None:
        if tag == "row":
            self.number = int(attributes.get("r", self.number + 1))
            self.row_hidden = attributes.get("hidden") in _TRUE
            self.position = -1
            self.in_row = True
        elif tag == "col" and attributes.get("hidden") in _TRUE:
            first, last = int(attributes["min"]), min(int(attributes["max"]), MOST_COLUMNS)
            self.hidden_columns.update(range(first - 1, last))
        elif tag == "mergeCell":
            self.merged.append(attributes.get("ref", ""))
            if len(self.merged) > MOST_MERGED:
                raise FileRefused(
                    f"sheet {self.title} has more than {MOST_MERGED} merged areas", "undo the merging of its cells"
                )

    def _place(self, letters: str) -> int:
        if not letters.isascii() or not 0 < len(letters) <= 3:
            raise ValueError(f"no column is called {letters[:9]}")
        place = int(column_index_from_string(letters)) - 1
        self.positions[letters] = place
        return place

    def _take_cell(self) -> None:
        if not self.pieces:
            if not self.is_formula or self.has_result:
                return
            value: object = NO_RESULT
        else:
            text = plain_text(self.pieces) if self.kind == "inlineStr" else "".join(self.pieces)
            self.pieces.clear()
            value = self._value_of(text)
            if isinstance(value, str) and len(value) > LONGEST_TEXT:
                value = Unread(f"a text of {len(value)} characters, more than a cell can hold")
            if value is None or value == "":
                return
        position = self.position
        if position >= MOST_COLUMNS:
            self.beyond = True
            return
        missing = position - len(self.values)
        if missing == 0:
            self.values.append(value)
        elif missing > 0:
            self.values.extend([None] * missing)
            self.values.append(value)
        else:
            self.values[position] = value

    def _value_of(self, text: str) -> object:
        kind = self.kind
        if kind == "s":
            return self.texts[_index(text)]
        if kind == "n":
            return self._number_of(text)
        if kind == "b":
            return bool(int(text))
        if kind == "e":
            return Unread(f"the error {text[:20]}")
        if kind == "d":
            return from_ISO8601(text)
        return self.known.setdefault(text, text) if len(text) <= LONGEST_SHARED else text

    def _number_of(self, text: str) -> object:
        value = float(text) if "." in text or "e" in text or "E" in text else int(text)
        if not math.isfinite(value):
            return Unread("a number beyond all bounds")
        if self.style is None:
            return value
        style = self.formats[_index(self.style)] if self.formats else None
        if style is None or not style.code:
            return value
        if style.is_day:
            return self._day_of(value, span=style.is_span)
        if self.row_formats is None:
            self.row_formats = {}
        self.row_formats[self.position] = style.code
        return value

    def _day_of(self, value: float, *, span: bool) -> Any:
        try:
            return from_excel(value, self.epoch, timedelta=span)
        except (OverflowError, ValueError):
            return Unread(f"a date that the calendar does not have (day number {value:.15g})")

    def _take_row(self) -> None:
        self.in_row = False
        values, formats = self.values, self.row_formats
        while values and is_blank(values[-1]):
            values.pop()
        if not values:
            return
        self.cells += len(values)
        if len(self.rows) == MOST_ROWS or self.cells > MOST_CELLS:
            what = f"{MOST_ROWS} filled rows" if self.cells <= MOST_CELLS else f"{MOST_CELLS} cells"
            raise FileRefused(f"sheet {self.title} has more than {what}", "split it into several files")
        row = RawRow(self.number, values[:], hidden=self.row_hidden)
        if formats:
            row.formats = formats
        self.rows.append(row)
        if len(self.rows) % ROWS_BETWEEN == 0:
            report(f"Opening {self.title}", len(self.rows))
        self.values, self.row_formats = [], None


def _index(text: str) -> int:
    """A place in a list; a negative one would be counted from its end."""
    place = int(text)
    if place < 0:
        raise IndexError(f"there is no place {text}")
    return place
