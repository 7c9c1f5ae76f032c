"""Which list each sheet of a file is read as, and what is asked where nothing says so."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from kits.exchange.columns.catalog_layouts import ITEMS, STRUCTURE
from kits.exchange.columns.layout import Layout
from kits.exchange.columns.layouts import LAYOUTS, find_layout
from kits.exchange.files.raw_sheets import RawSheet
from kits.exchange.problems.asked import UnknownList
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.asking.instructions import Instructions
from kits.exchange.reading.asking.list_names import (
    find_resembling,
    fits_headings,
    has_headings_of,
    lists_by_headings,
    named_loosely,
    names_of,
    shown_cells,
)
from kits.exchange.reading.indented.shapes import looks_indented
from kits.exchange.reading.indented.sheets import opening_cells
from kits.planning.words.states import in_words

_DEPTH = "an indented list of what holds what"


def lists_of(sheets: Sequence[RawSheet], instructions: Instructions, findings: Findings) -> dict[str, Layout]:
    """Which list each sheet of a file holds, as far as anything says so: a word of somebody, its name, its headings."""
    lists: dict[str, Layout] = {}
    unknown: list[UnknownList] = []
    told_of = {raw.name: instructions.list_of(raw.file, raw.name) for raw in sheets}
    open_to_guess = [raw for raw in sheets if not told_of[raw.name]]
    for raw in sheets:
        sheet = find_layout(told_of[raw.name]) if told_of[raw.name] else _named(raw, sheets)
        if sheet is not None:
            lists[raw.name] = sheet
    for raw in open_to_guess:
        if raw.name in lists or not raw.rows:
            continue
        sheet, by = _guessed(raw, sheets)
        if sheet is not None and sheet not in lists.values():
            lists[raw.name] = sheet
            findings.remark(sheet.name, "", f"{_called(raw)} was read as this list, by its {by}", None, raw.file)
        else:
            unknown.append(_unknown(raw))
    # Among lists that are known, a sheet of notes is no question.
    findings.unknown += [one for one in unknown if not lists or one.likely or one.indented]
    for raw in sheets:
        if raw.name not in lists and lists:
            says = (
                "it was left out, as chosen" if told_of[raw.name] else "it is none of the known lists and was not read"
            )
            findings.remark(raw.name, "", says, None, raw.file)
    return lists


def _named(raw: RawSheet, sheets: Sequence[RawSheet]) -> Layout | None:
    """The list by the sheet's name, or, if the sheet is the only one, by the name of its file."""
    sheet = find_layout(raw.name) or (find_layout(Path(raw.file).stem) if len(sheets) == 1 else None)
    return None if sheet is None or _says_it_by_depth(raw, sheet) else sheet


def _says_it_by_depth(raw: RawSheet, sheet: Layout) -> bool:
    """Whether a sheet called after the parts or the structure is a parts list that says by depth what holds what."""
    return sheet in (ITEMS, STRUCTURE) and not fits_headings(raw, sheet) and looks_indented(opening_cells(raw))


def _guessed(raw: RawSheet, sheets: Sequence[RawSheet]) -> tuple[Layout | None, str]:
    """The list by a lengthened name that its headings do not belie, else by its headings alone."""
    names = [raw.name, Path(raw.file).stem] if len(sheets) == 1 else [raw.name]
    sheet = next((named for name in names if (named := named_loosely(name))), None)
    if sheet is not None and has_headings_of(raw, sheet) and not _says_it_by_depth(raw, sheet):
        return sheet, "name"
    likely = lists_by_headings(raw)
    return (likely[0] if len(likely) == 1 else None), "headings"


def _called(raw: RawSheet) -> str:
    return "the file" if raw.from_text else f"the sheet {raw.name}"


def _unknown(raw: RawSheet) -> UnknownList:
    tied = names_of(lists_by_headings(raw))
    cells = opening_cells(raw)
    indented = looks_indented(cells)
    return UnknownList(raw.file, raw.name, tied or find_resembling(raw), indented, shown_cells(cells))


def refuse_unknown(file: str, sheets: Sequence[RawSheet], findings: Findings) -> None:
    """Nothing of a file is known: say so, with what it may be."""
    asked = [one for one in findings.unknown if one.file == file]
    if not asked and any(raw.rows for raw in sheets):
        findings.refuse("", None, "", "", "all of it was left out, as chosen", "say which list it is", file)
    elif not asked:
        findings.refuse("", None, "", "", "it is empty", "save it again with its rows", file)
    else:
        names = "" if sheets[0].from_text else ", ".join(one.sheet for one in asked)
        likely = dict.fromkeys(name for one in asked for name in (*one.likely, *([_DEPTH] if one.indented else [])))
        alike = f"; it may be {in_words(list(likely))}" if likely and len(asked) == 1 else ""
        reason = "neither its name nor its headings say which list it is"
        if len(asked) > 1:
            reason = "neither the names of its sheets nor their headings say which lists they are"
        remedy = f"say which list it is, or name it after one: {', '.join(sheet.name for sheet in LAYOUTS)}"
        findings.refuse("", None, "", names, f"{reason}{alike}", remedy, file)
