"""A workbook of plain cells: its frame is the library's, made once for the same sheets, its rows are written here.

The library takes some ten times as long, and most tests make one. What is no plain cell, such as a formula or a time of
day, is left to it.
"""

import io
import re
import zipfile
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from xml.sax.saxutils import escape

from openpyxl import Workbook
from openpyxl.cell.cell import ERROR_CODES, ILLEGAL_CHARACTERS_RE
from openpyxl.compat import safe_string
from openpyxl.utils import get_column_letter

ROWS = re.compile(rb"<sheetData>.*</sheetData>", re.DOTALL)
EXTENT = re.compile(rb"<dimension [^>]*/>")


def is_plain(sheets):
    return bool(sheets) and all(_is_plain(value) for rows in sheets.values() for row in rows for value in row)


def _is_plain(value):
    if isinstance(value, str):
        return not value.startswith("=") and value not in ERROR_CODES and not ILLEGAL_CHARACTERS_RE.search(value)
    return value is None or (isinstance(value, int | float | Decimal | date) and not isinstance(value, datetime))


def write_plain(sheets):
    """The bytes of a workbook with these sheets."""
    out, rows = io.BytesIO(), iter(sheets.values())
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as package:
        for name, content in _frame(tuple(sheets)):
            package.writestr(name, _filled(content, next(rows)) if "/worksheets/" in name else content)
    return out.getvalue()


@cache
def _frame(names):
    """The parts of a workbook with these sheets, each of which holds a day, which is the first look of a cell."""
    book, out = Workbook(), io.BytesIO()
    book.remove(book.active)
    for name in names:
        book.create_sheet(name).append([date(2026, 3, 4)])
    book.save(out)
    with zipfile.ZipFile(out) as package:
        return [(name, package.read(name)) for name in package.namelist()]


def _filled(content, rows):
    cells = "".join(
        f'<row r="{number}">{"".join(_cell(number, place, value) for place, value in enumerate(row, start=1))}</row>'
        for number, row in enumerate(rows, start=1)
    )
    extent = f'<dimension ref="A1:{get_column_letter(max(map(len, rows), default=0) or 1)}{len(rows) or 1}"/>'
    content = EXTENT.sub(extent.encode(), content)
    return ROWS.sub(lambda found: f"<sheetData>{cells}</sheetData>".encode(), content)


def _cell(row, column, value):
    at = f'r="{get_column_letter(column)}{row}"'
    if value is None:
        return ""
    if isinstance(value, str):
        return f'<c {at} t="inlineStr"><is><t xml:space="preserve">{escape(value)}</t></is></c>'
    if isinstance(value, bool):
        return f'<c {at} t="b"><v>{value:d}</v></c>'
    if isinstance(value, date):
        return f'<c {at} s="1"><v>{(value - date(1899, 12, 30)).days}</v></c>'
    return f"<c {at}><v>{safe_string(float(value) if isinstance(value, Decimal) else value)}</v></c>"
