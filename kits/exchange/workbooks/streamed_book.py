"""Workbooks written row by row. The library writes everything but the rows, for it makes objects of every cell.

A column's cells share their looks, so a cell is a reference, the number of its look and a value; a row is written to a
file beside the workbook and let go, and goes into its sheet when that is packed.
"""

from __future__ import annotations

import io
import re
import shutil
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryFile
from typing import Any
from xml.sax.saxutils import escape
from zipfile import ZIP_DEFLATED, ZipFile

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.utils import get_column_letter
from openpyxl.utils.datetime import to_excel
from openpyxl.writer.excel import ExcelWriter

from kits.exchange.workbooks.sheet_looks import own_font

TEXT, DAY, GENERAL = "@", "yyyy-mm-dd", "General"
Value = str | int | float | Decimal | date | None
Dress = Callable[[Any], None]

_UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
_LONGEST_TEXT = 32_767
_ROWS = re.compile(rb"<sheetData\s*(?:/>|></sheetData>)")


class StreamedBook:
    """A workbook of sheets that take rows; their headings, widths and print settings are the library's."""

    def __init__(self) -> None:
        self._book = Workbook(write_only=True)
        self._sheets: dict[str, StreamedSheet] = {}

    def add_sheet(self, title: str) -> StreamedSheet:
        """A sheet without rows."""
        sheet = StreamedSheet(self._book.create_sheet(title))
        self._sheets[f"xl/worksheets/sheet{len(self._sheets) + 1}.xml"] = sheet
        return sheet

    def content(self) -> bytes:
        """The bytes of the workbook."""
        out = io.BytesIO()
        ExcelWriter(self._book, _Archive(out, self._sheets)).save()
        return out.getvalue()


class StreamedSheet:
    """A sheet whose rows are appended as cells in words; ``page`` is what the library knows of it."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.row = 0
        self._file = TemporaryFile()  # noqa: SIM115  # it is closed when the rows are packed

    def append(self, cells: Iterable[str], height: float | None = None) -> None:
        """Append a row of cells, which were made for the row after the last."""
        self.row += 1
        high = "" if height is None else f' ht="{height:g}" customHeight="1"'
        self._file.write(f'<row r="{self.row}"{high}>{"".join(cells)}</row>'.encode())

    def write_into(self, out: Any) -> None:
        """Copy all rows, and let them go."""
        self._file.seek(0)
        shutil.copyfileobj(self._file, out, 2**20)
        self._file.close()


class _Archive(ZipFile):
    """Puts the rows into the sheets as they are packed."""

    def __init__(self, out: io.BytesIO, sheets: dict[str, StreamedSheet]) -> None:
        super().__init__(out, "w", ZIP_DEFLATED)
        self._sheets = sheets

    def write(self, filename: Any, arcname: Any = None, *args: Any, **kwargs: Any) -> None:
        """Add a file."""
        sheet = self._sheets.get(arcname)
        if sheet is None:
            super().write(filename, arcname, *args, **kwargs)
            return
        head, tail = _ROWS.split(Path(filename).read_bytes())
        with self.open(arcname, "w") as packed:
            packed.write(head + b"<sheetData>")
            sheet.write_into(packed)
            packed.write(b"</sheetData>" + tail)


class ColumnCells:
    """The cells of one column in the formats of texts, days and everything else.

    In a format whose decimals may all be missing, a spreadsheet program leaves the point when they are: a whole number
    is shown in the same format without them, and an empty cell shows what is typed into it.
    """

    def __init__(
        self,
        sheet: StreamedSheet,
        place: int,
        shown_as: str = GENERAL,
        dress: Dress | None = None,
        *,
        text_as: str = TEXT,
    ) -> None:
        self._sheet, self._letter, self._dress = sheet, get_column_letter(place), dress
        whole_as, point, _ = shown_as.rstrip("#").partition(".")
        may_end = point and shown_as.rstrip("#").endswith(".")
        self._text_as, self._other_as = text_as, shown_as
        self._whole_as, self._empty_as = (whole_as, GENERAL) if may_end else (shown_as, shown_as)
        self._looks: dict[str, int] = {}

    def _look(self, number_format: str) -> int:
        """The number of a look, which is made when a cell first bears it."""
        look = self._looks.get(number_format)
        if look is None:
            look = self._looks[number_format] = look_of(self._sheet, number_format, self._dress)
        return look

    def cell(self, row: int, value: Value) -> str:
        """The cell of that row; a text is text whatever it starts with."""
        if isinstance(value, str) and value:
            return f'<c r="{self._letter}{row}" s="{self._look(self._text_as)}" t="inlineStr">{_inline(value)}</c>'
        if value is None or value == "":
            return f'<c r="{self._letter}{row}" s="{self._look(self._empty_as)}"/>'
        if isinstance(value, date):
            return f'<c r="{self._letter}{row}" s="{self._look(DAY)}"><v>{to_excel(value):.16g}</v></c>'
        look = self._look(self._whole_as if value == int(value) else self._other_as)
        return f'<c r="{self._letter}{row}" s="{look}"><v>{value:.16g}</v></c>'

    def formula(self, row: int, formula: str, result: Decimal | int) -> str:
        """A cell with a formula and its result, for viewers that cannot work it out; the library stores no results."""
        sum_of = escape(formula.removeprefix("="))
        return f'<c r="{self._letter}{row}" s="{self._look(self._other_as)}"><f>{sum_of}</f><v>{result}</v></c>'


def look_of(sheet: StreamedSheet, number_format: str, dress: Dress | None = None) -> int:
    """The number by which the workbook knows a look."""
    cell = WriteOnlyCell(sheet.page)
    cell.number_format = number_format
    if dress is not None:
        dress(cell)
    return int(cell.style_id)


def heading_cells(sheet: StreamedSheet, words: Sequence[str]) -> list[str]:
    """The cells of the headings, in bold, for the first row."""

    def dress(cell: Any) -> None:
        cell.font = own_font(bold=True)

    return heading_row(sheet, 1, words, [dress] * len(words))


def heading_row(sheet: StreamedSheet, row: int, words: Sequence[str], dresses: Sequence[Dress]) -> list[str]:
    """The cells of headings, each in its own dress."""
    return [
        ColumnCells(sheet, place, dress=dress, text_as=GENERAL).cell(row, text)
        for place, (text, dress) in enumerate(zip(words, dresses, strict=True), start=1)
    ]


def _inline(text: str) -> str:
    text = plain_text(text)
    kept = "" if text == text.strip() else ' xml:space="preserve"'
    return f"<is><t{kept}>{escape(text)}</t></is>"


def plain_text(text: str) -> str:
    """The text without what a workbook cannot hold."""
    return _UNWRITABLE.sub("", text)[:_LONGEST_TEXT]
