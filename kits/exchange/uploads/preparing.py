"""From files to records: every sheet found, every cell read."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from kits.catalog.errors import Refusal
from kits.catalog.folding import fold
from kits.catalog.queries import ShopSettings, read_settings
from kits.exchange.columns.layouts import BY_NAME, LAYOUTS, find_layout
from kits.exchange.columns.work_layouts import SETTINGS
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.asking.instructions import NO_INSTRUCTIONS, Instructions
from kits.exchange.reading.cells.known_marks import KnownMarks
from kits.exchange.reading.headings import SheetHeadings
from kits.exchange.reading.sheet_files import read_sheets
from kits.exchange.records.names import gather_marks
from kits.exchange.records.records import SheetRecord, read_records


@dataclass(frozen=True, slots=True)
class Prepared:
    """Records that were read, the sheets they came from, the known part numbers, and the day that counts as today.

    ``filled`` are those of the sheets that hold rows.
    """

    records: list[SheetRecord]
    sheets: frozenset[str]
    parts: KnownMarks
    today: date
    filled: frozenset[str]


def read_files(
    files: Sequence[SheetFile], today: date, findings: Findings, instructions: Instructions = NO_INSTRUCTIONS
) -> Prepared:
    """Read files cell by cell; everything that is wrong goes to ``findings``."""
    sheets = read_sheets(files, findings, instructions)
    day = _settled_today(sheets) or today
    known = gather_marks(sheets)
    filled = frozenset(headings.sheet.name for headings in sheets if headings.rows)
    records = [record for headings in sheets for record in read_records(headings, known, day, findings)]
    names = frozenset(headings.sheet.name for headings in sheets)
    return Prepared(records, names, known["part_number"], day, filled)


def replaced_sheets(asked: Collection[str], prepared: Prepared, findings: Findings) -> frozenset[str]:
    """The sheets that replace all that is stored; each must be known and must have come with the files."""
    names = set()
    for name in asked:
        sheet = find_layout(name)
        if sheet is None:
            known = ", ".join(one.name for one in LAYOUTS)
            findings.refuse("", None, "", name, "no sheet of this name can be replaced", f"name one of {known}")
        elif sheet.name not in prepared.sheets:
            findings.refuse(
                sheet.name,
                None,
                "",
                name,
                "the sheet is to be replaced, but no file holds it",
                "add it, or do not ask for it to be replaced",
            )
        else:
            names.add(sheet.name)
    return frozenset(names)


def touched_sheets(prepared: Prepared, replaced: frozenset[str], findings: Findings) -> frozenset[str]:
    """The sheets of which there are rows, those whose rows could not be found, and those that replace what is stored.

    A template has all the others too, without a row: they touch nothing.
    """
    refused = {problem.sheet for problem in findings.problems if problem.sheet in BY_NAME}
    return prepared.filled | replaced | refused


def _settled_today(sheets: Sequence[SheetHeadings]) -> date | None:
    """The setting ``today``, of the load itself or as it is stored; an unreadable one is refused with its row later."""
    typed = [
        row.values[places["value"]]
        for headings in sheets
        if headings.sheet is SETTINGS
        for places in ({column.name: position for position, column in headings.columns},)
        if {"name", "value"} <= set(places)
        for row in headings.rows
        if max(places.values()) < len(row.values) and fold(str(row.values[places["name"]])) == "today"
    ]
    try:
        return ShopSettings({"today": str(typed[0])[:10]}).today if typed else read_settings().today
    except Refusal:
        return None
