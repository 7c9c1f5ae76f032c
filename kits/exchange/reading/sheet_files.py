"""Files in, sheets out: whatever kind of file it is, and whatever cannot be read said with its remedy."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from kits.exchange.reading.file_guard import check_size, kind_of_file
from kits.exchange.reading.headings import SheetHeadings, find_headings
from kits.exchange.reading.raw_sheets import FileRefused, RawSheet
from kits.exchange.reading.strange_headings import NO_CHOICES, Choices
from kits.exchange.reading.text_archive import texts_inside
from kits.exchange.reading.text_reader import read_text_file
from kits.exchange.reading.workbook_reader import read_workbook
from kits.exchange.sheets.layouts import SHEETS, Sheet, find_sheet
from kits.exchange.sheets.sheet_examples import drop_example
from kits.exchange.uploads.problems import Findings


@dataclass(frozen=True, slots=True)
class SheetFile:
    """A file as it came: its name and its bytes."""

    name: str
    content: bytes

    @property
    def digest(self) -> str:
        """What tells this content from any other."""
        return hashlib.sha256(self.content).hexdigest()


def open_file(path: Path, findings: Findings) -> SheetFile | None:
    """Take a file from the disk, or say why it cannot be taken."""
    try:
        check_size(path.stat().st_size)
        return SheetFile(path.name, path.read_bytes())
    except FileRefused as refused:
        findings.refuse("", None, "", "", refused.reason, refused.remedy, path.name)
    except FileNotFoundError:
        findings.refuse("", None, "", "", f"there is no file {path}", "check its name and folder", path.name)
    except OSError as error:
        findings.refuse(
            "", None, "", "", f"the file cannot be opened ({error.strerror})", "check that it may be read", path.name
        )
    return None


def read_sheets(files: Sequence[SheetFile], findings: Findings, choices: Choices = NO_CHOICES) -> list[SheetHeadings]:
    """Read every sheet that has a layout, with its headings found."""
    found: list[SheetHeadings] = []
    for file in files:
        try:
            check_size(len(file.content))
            if texts := texts_inside(file.content):
                inside = [SheetFile(f"{file.name}/{name}", content) for name, content in texts]
                found += read_sheets(inside, findings, choices)
                continue
            reader = read_workbook if kind_of_file(file.content, file.name) == "workbook" else read_text_file
            sheets = reader(file.content, file.name)
        except FileRefused as refused:
            findings.refuse("", None, "", "", refused.reason, refused.remedy, file.name)
            continue
        found += _known_sheets(file, sheets, findings, choices)
    return found


def _known_sheets(file: SheetFile, sheets: list[RawSheet], findings: Findings, choices: Choices) -> list[SheetHeadings]:
    found: list[SheetHeadings] = []
    known = [(raw, sheet) for raw in sheets if (sheet := _sheet_of(raw, sheets)) is not None]
    if not known:
        names = ", ".join(raw.name for raw in sheets)
        known_names = ", ".join(sheet.name for sheet in SHEETS)
        reason = "none of its sheets has a name that is known"
        remedy = f"name each sheet after what it holds: {known_names}"
        if all(raw.from_text for raw in sheets):
            reason = "a text file is named after the list that it holds, and there is no list of this name"
            remedy = f"name it such as items.csv; the lists are {known_names}"
        findings.refuse("", None, "", names, reason, remedy, file.name)
        return found
    for raw in sheets:
        if all(raw is not other for other, _ in known):
            findings.remark(raw.name, "", "a sheet of this name is not known and was not read", None, file.name)
    for raw, sheet in known:
        if not raw.rows:
            findings.remark(sheet.name, "", "the sheet is empty", None, file.name)
        elif headings := find_headings(raw, sheet, findings, choices):
            drop_example(headings, findings)
            found.append(headings)
    return found


def _sheet_of(raw: RawSheet, sheets: list[RawSheet]) -> Sheet | None:
    """The layout by the sheet's name, or, if the sheet is the only one, by the name of its file."""
    sheet = find_sheet(raw.name)
    return sheet if sheet or len(sheets) > 1 else find_sheet(Path(raw.file).stem)
