"""How every workbook that leaves looks: one face for all its letters, headings on each printed page, one page wide."""

from __future__ import annotations

from copy import copy
from math import ceil
from typing import Any

from openpyxl.styles import Font
from openpyxl.styles.fonts import DEFAULT_FONT
from openpyxl.utils import get_column_letter

from kits.catalog.formats.in_force import A4, LETTER, formats

_LEGIBLE = 200
"""Characters side by side that a sheet of paper on its long side holds at about seven points."""


def own_font(*, bold: bool = False, italic: bool = False, size: float | None = None, color: str | None = None) -> Font:
    """The face of the other cells, in another weight; a font without a name is drawn in whatever the program likes."""
    font = copy(DEFAULT_FONT)
    font.b, font.i = bold, italic
    if size is not None:
        font.sz = size
    if color is not None:
        font.color = color
    return font


PAPER_NUMBERS = {A4: 9, LETTER: 1}
"""Paper as ISO/IEC 29500 (Office Open XML, paperSize) counts it."""


def set_print(sheet: Any, row: int, freeze_columns: int = 0, width: float = 0) -> None:
    """Freeze the headings and repeat them on paper, landscape and one page wide.

    A list whose columns are ``width`` characters wide takes as many pages side by side as keep it legible, the first
    column on each.
    """
    sheet.freeze_panes = f"{get_column_letter(freeze_columns + 1)}{row + 1}"
    sheet.print_title_rows = f"{row}:{row}"
    sheet.page_setup.orientation = "landscape"
    if formats().paper:
        sheet.page_setup.paperSize = PAPER_NUMBERS[formats().paper]
    sheet.page_setup.fitToWidth = max(1, ceil(width / _LEGIBLE))
    if sheet.page_setup.fitToWidth > 1:
        sheet.print_title_cols = "A:A"
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.page_margins.left = sheet.page_margins.right = 0.4
    sheet.page_margins.top, sheet.page_margins.bottom = 0.5, 0.75
    sheet.page_margins.footer = 0.3
    sheet.oddFooter.left.text = "&A"
    sheet.oddFooter.right.text = "&P of &N"
