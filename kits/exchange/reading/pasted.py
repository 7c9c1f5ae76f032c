"""Cells pasted from a spreadsheet: laid out as the text file of a sheet, so that they are read like any other."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence

from kits.catalog.errors import Refusal
from kits.exchange.columns.catalog_layouts import STRUCTURE
from kits.exchange.columns.layout import Layout, fold_heading, headings_of
from kits.exchange.columns.sheet_text import quote_formula, text_name
from kits.exchange.files.pasted_text import as_lines
from kits.exchange.files.raw_sheets import is_blank
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.files.text_reader import find_delimiter
from kits.exchange.problems.findings import Findings


class ParentMissing(Refusal):
    """Pasted structure lines of which nobody said what holds them."""


def pasted_file(text: str, sheet: Layout, given: Mapping[str, str], findings: Findings) -> SheetFile:
    """Pasted cells as the text file of a sheet; ``given`` fills columns that were not pasted."""
    rows = take_apart(text, sheet)
    headings, first = _headings(rows[0], sheet), 1
    if not headings:
        headings, first = list(sheet.pasted), 0
        headings = headings[: max(map(len, rows))]
        findings.remark(
            sheet.name,
            "",
            f"no headings were pasted, so the cells were read in the order {', '.join(headings)}; "
            "the first line counts as row 2",
        )
    known = headings_of(sheet)
    have = {known[fold_heading(heading)].name for heading in headings if fold_heading(heading) in known}
    added = {name: value for name, value in given.items() if value and name not in have}
    if sheet is STRUCTURE and "parent" not in {*have, *added}:
        raise ParentMissing(
            "The rows do not say what holds them: write the part number here, or paste the column parent as well."
        )
    return write_rows(sheet, [[*headings, *added], *_filled_up(rows[first:], len(headings), list(added.values()))])


def _filled_up(rows: Sequence[Sequence[str]], width: int, added: Sequence[str]) -> list[list[str]]:
    """Every row as wide as the headings, with the given cells behind; blank lines stay blank."""
    return [
        [*row, *[""] * (width - len(row)), *(added if any(not is_blank(cell) for cell in row) else ())] for row in rows
    ]


def _headings(row: Sequence[str], sheet: Layout) -> list[str]:
    known = headings_of(sheet)
    found = sum(fold_heading(cell) in known for cell in row)
    return list(row) if found >= 2 or (found and len(row) == 1) else []


def take_apart(text: str, sheet: Layout) -> list[list[str]]:
    """Pasted text as rows of cells: a spreadsheet parts them by tabs, a text file by what it happens to use."""
    lines = as_lines(text)
    text = "\n".join(lines)
    delimiter = "\t" if any("\t" in line.strip() for line in lines[:20]) else find_delimiter(text, sheet.name)
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=False))
    except csv.Error as error:
        raise Refusal(f"The pasted text cannot be taken apart into cells ({error}): save it as a file.") from error


def write_rows(sheet: Layout, rows: Sequence[Sequence[str]]) -> SheetFile:
    """Rows as the text file of a sheet; an empty row leaves an empty line, so that rows keep their numbers."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for row in rows:
        if row:
            writer.writerow([quote_formula(cell) for cell in row])
        else:
            out.write("\n")
    return SheetFile(text_name(sheet), out.getvalue().encode())
