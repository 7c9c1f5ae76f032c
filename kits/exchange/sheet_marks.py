"""What a spreadsheet shows but its values do not tell: merged cells, what is hidden, formulas without a result."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import IO
from xml.parsers import expat

from openpyxl.utils import column_index_from_string

from kits.exchange.raw_sheets import FileRefused


@dataclass(slots=True)
class SheetMarks:
    """The marks of one sheet. Rows count from 1, columns from 0; a formula is known by its cell, such as ``C7``."""

    merged: list[str] = field(default_factory=list)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    without_result: set[str] = field(default_factory=set)
    filled_rows: set[int] = field(default_factory=set)
    columns: int = 0


class _Reader:
    """Follows one sheet's elements; only what stands inside a formula's cell is looked at closely."""

    def __init__(self, most_columns: int) -> None:
        self.marks = SheetMarks()
        self.most_columns = most_columns
        self.row = 0
        self.column = 0
        self.cell = ""
        self.text_result = False
        self.is_formula = False
        self.has_result = False
        self.columns: dict[str, int] = {}
        self.parser = expat.ParserCreate(namespace_separator=" ")
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.buffer_text = True

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        name = tag.rpartition(" ")[2]
        if name == "c":
            self.start_cell(attributes)
        elif name == "f" and self.cell:
            self.is_formula = True
        elif name == "v" and self.is_formula:
            self.has_result = self.text_result
            self.parser.CharacterDataHandler = self.result
        elif name == "row":
            self.row = int(attributes.get("r", self.row + 1))
            self.column = 0
            if attributes.get("hidden") in {"1", "true"}:
                self.marks.hidden_rows.add(self.row)
        elif name == "col" and attributes.get("hidden") in {"1", "true"}:
            first, last = int(attributes["min"]), min(int(attributes["max"]), self.most_columns)
            self.marks.hidden_columns.update(range(first - 1, last))
        elif name == "mergeCell":
            self.marks.merged.append(attributes.get("ref", ""))

    def start_cell(self, attributes: dict[str, str]) -> None:
        self.cell = attributes.get("r", "")
        self.text_result = attributes.get("t") == "str"
        self.is_formula = self.has_result = False
        letters = self.cell.rstrip("0123456789")
        if letters and letters not in self.columns:
            self.columns[letters] = column_index_from_string(letters)
        self.column = self.columns[letters] if letters else self.column + 1
        self.marks.columns = max(self.marks.columns, self.column)
        self.marks.filled_rows.add(self.row)

    def result(self, text: str) -> None:
        self.has_result = True

    def end(self, tag: str) -> None:
        name = tag.rpartition(" ")[2]
        if name == "c":
            if self.is_formula and not self.has_result:
                self.marks.without_result.add(self.cell)
            self.cell = ""
        elif name == "v":
            self.parser.CharacterDataHandler = None


def read_marks(part: IO[bytes], most_columns: int) -> SheetMarks:
    """Read the marks of one sheet from its part of the workbook."""
    reader = _Reader(most_columns)
    try:
        while chunk := part.read(1 << 16):
            reader.parser.Parse(chunk, False)
        reader.parser.Parse(b"", True)
    except (expat.ExpatError, ValueError, KeyError) as error:
        raise FileRefused("a sheet of the workbook is damaged", "open it and save it anew") from error
    return reader.marks
