"""Files in, sheets out: whatever kind of file it is, and whatever cannot be read said with its remedy."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from kits.exchange.files.file_guard import check_size, kind_of_file
from kits.exchange.files.raw_sheets import FileRefused, RawSheet
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.files.text_archive import texts_inside
from kits.exchange.files.text_reader import read_text_file
from kits.exchange.files.workbook_reader import read_workbook
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.asking.instructions import NO_INSTRUCTIONS, Instructions
from kits.exchange.reading.asking.list_choice import lists_of, refuse_unknown
from kits.exchange.reading.example_rows import drop_example
from kits.exchange.reading.headings import SheetHeadings, find_headings


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


def read_sheets(
    files: Sequence[SheetFile], findings: Findings, instructions: Instructions = NO_INSTRUCTIONS
) -> list[SheetHeadings]:
    """Read every sheet that has a layout, with its headings found."""
    found: list[SheetHeadings] = []
    for file in files:
        try:
            check_size(len(file.content))
            inside = split_archive(file)
            if inside != [file]:
                found += read_sheets(inside, findings, instructions)
                continue
            sheets = raw_sheets(file, instructions)
        except FileRefused as refused:
            findings.refuse("", None, "", "", refused.reason, refused.remedy, file.name)
            continue
        found += _known_sheets(file, sheets, findings, instructions)
    return found


def split_archive(file: SheetFile) -> list[SheetFile]:
    """The text files of an archive, or the file itself."""
    texts = texts_inside(file.content)
    return [SheetFile(f"{file.name}/{name}", content) for name, content in texts] if texts else [file]


def raw_sheets(file: SheetFile, instructions: Instructions = NO_INSTRUCTIONS) -> list[RawSheet]:
    """Every sheet of one file as it stands."""
    if kind_of_file(file.content, file.name) == "workbook":
        return read_workbook(file.content, file.name)
    return read_text_file(file.content, file.name, instructions.charsets.get(file.name, ""))


def _known_sheets(
    file: SheetFile, sheets: list[RawSheet], findings: Findings, instructions: Instructions
) -> list[SheetHeadings]:
    found: list[SheetHeadings] = []
    findings.texts += [raw.text for raw in sheets if raw.text is not None]
    lists = lists_of(sheets, instructions, findings)
    for raw in sheets:
        sheet = lists.get(raw.name)
        if sheet is None:
            continue
        if not raw.rows:
            findings.remark(sheet.name, "", "the sheet is empty", None, file.name)
        elif headings := find_headings(raw, sheet, findings, instructions.headings):
            drop_example(headings, findings)
            found.append(headings)
    if not lists:
        refuse_unknown(file.name, sheets, findings)
    return found
