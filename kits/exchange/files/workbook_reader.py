"""Workbooks in: every sheet with its values and marks, read from the parts of the package.

The library that writes workbooks could read them too, but takes several times as long, and hands over neither merged
cells nor what is hidden when it reads row by row.
"""

from __future__ import annotations

import io
import zipfile

from kits.catalog.caching.progress import report
from kits.exchange.files.file_guard import BROKEN_PACKAGE, check_package
from kits.exchange.files.package_parts import read_book_parts
from kits.exchange.files.raw_sheets import FileRefused, RawSheet
from kits.exchange.files.sheet_stream import read_sheet

_BROKEN = (*BROKEN_PACKAGE, LookupError, TypeError, AttributeError)
"""What a package raises that was put together wrongly, wherever in it that is."""


def read_workbook(content: bytes, file: str) -> list[RawSheet]:
    """Read all sheets of a workbook that passed the guard."""
    check_package(content)
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            book = read_book_parts(package)
            sheets = []
            for sheet in book.sheets:
                report(f"Opening {sheet.title}")
                with package.open(sheet.path) as part:
                    sheets.append(read_sheet(part, sheet, book, file))
            return sheets
    except FileRefused:
        raise
    except _BROKEN as error:
        raise FileRefused(
            "the workbook is damaged and cannot be read", "open it in a spreadsheet program and save it anew"
        ) from error
