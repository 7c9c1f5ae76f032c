"""Finds the row of headings in a sheet and which column stands where."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass

from openpyxl.utils import get_column_letter, range_boundaries

from kits.exchange.columns.layout import Column, Layout, fold_heading, headings_of
from kits.exchange.files.raw_sheets import RawRow, RawSheet, is_blank
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.asking.strange_headings import NO_CHOICES, Choices, chosen_columns, strange_sheet

_LOOKED_AT = 20


@dataclass(slots=True)
class SheetHeadings:
    """A sheet whose headings are found: the columns by position, and the rows that follow."""

    sheet: Layout
    file: str
    heading_row: int
    columns: list[tuple[int, Column]]
    rows: list[RawRow]
    in_text_file: bool
    width: int

    @property
    def names(self) -> frozenset[str]:
        """The names of the columns that the sheet has."""
        return frozenset(self.ordered_names)

    @property
    def ordered_names(self) -> tuple[str, ...]:
        """The names of the columns as they stand in the sheet."""
        return tuple(column.name for _, column in self.columns)


Known = dict[str, Column | None]
"""Folded heading -> its column; None for a heading whose column somebody chose to leave out."""


def find_headings(
    raw: RawSheet, sheet: Layout, findings: Findings, choices: Choices = NO_CHOICES
) -> SheetHeadings | None:
    """Return the sheet with its headings, or None when they cannot be made out."""
    best, place, known = _best_row(raw, sheet, choices)
    filled = [value for value in raw.rows[place].values if not is_blank(value)] if best else []
    if best < 2 and not (best and len(filled) == 1):
        _offer_strange(raw, sheet, 0, findings, choices)
        needed = ", ".join(column.name for column in sheet.columns if column.required)
        first = raw.rows[0] if raw.rows else None
        findings.refuse(
            sheet.name,
            first.number if first else None,
            "",
            "" if first is None else next((value for value in first.values if not is_blank(value)), ""),
            "no row of headings was found",
            f"write the headings into the first row, at least {needed}",
            raw.file,
        )
        return None
    heading_row = raw.rows[place]
    for above in raw.rows[:place]:
        findings.remark(sheet.name, "", "rows above the headings were not read", above.number, raw.file)
    _offer_strange(raw, sheet, place, findings, choices)
    columns = _columns(heading_row, sheet, known, raw, findings)
    found = SheetHeadings(
        sheet, raw.file, heading_row.number, columns, raw.rows[place + 1 :], raw.from_text, len(heading_row.values)
    )
    complete = _check_columns(found, findings)
    _tell_what_is_hidden(raw, found, findings)
    _refuse_merged(raw, found, findings)
    findings.headings[raw.file, sheet.name] = {
        column.name: str(heading_row.values[position]).strip() for position, column in columns
    }
    return found if complete else None


def _best_row(raw: RawSheet, sheet: Layout, choices: Choices) -> tuple[int, int, Known]:
    """How many headings the best of the first rows has, which row it is, and what its headings mean."""
    own: Known = {**headings_of(sheet)}
    best, place, meant = 0, -1, own
    for position, row in enumerate(raw.rows[:_LOOKED_AT]):
        known = own | chosen_columns(choices, sheet, row.values)
        score = sum(known.get(fold_heading(value)) is not None for value in row.values if isinstance(value, str))
        if score > best:
            best, place, meant = score, position, known
    return best, place, meant


def _offer_strange(raw: RawSheet, sheet: Layout, place: int, findings: Findings, choices: Choices) -> None:
    """Note the headings that are not known, so that somebody can say what they mean."""
    if place >= len(raw.rows):
        return
    values = raw.rows[place].values
    strange = strange_sheet(sheet, raw.file, values, chosen_columns(choices, sheet, values))
    if strange is not None:
        findings.strange.append(strange)


def _columns(
    heading_row: RawRow, sheet: Layout, known: Known, raw: RawSheet, findings: Findings
) -> list[tuple[int, Column]]:
    columns: list[tuple[int, Column]] = []
    exact = {fold_heading(column.name) for column in sheet.columns}
    taken: dict[str, int] = {}
    by_position = sorted(enumerate(heading_row.values), key=lambda one: fold_heading(one[1]) not in exact)
    for position, value in by_position:
        if is_blank(value):
            continue
        heading = fold_heading(value)
        column = known.get(heading)
        if column is None and heading in known:
            findings.remark(sheet.name, str(value).strip(), "this column was left out, as chosen", None, raw.file)
        elif column is None or (column.name in taken and heading not in exact):
            near = difflib.get_close_matches(heading, exact, n=1, cutoff=0.8)
            hint = next(
                (f"; is {one.name} meant" for one in sheet.columns if near and fold_heading(one.name) == near[0]), ""
            )
            says = f"this column is not known and was not read{hint}"
            findings.remark(sheet.name, str(value).strip(), says, None, raw.file)
        elif column.name in taken:
            first = get_column_letter(taken[column.name] + 1)
            findings.refuse(
                sheet.name,
                heading_row.number,
                column.name,
                value,
                f"this heading stands twice, in columns {first} and {get_column_letter(position + 1)}",
                "delete one of the two columns",
                raw.file,
            )
        else:
            taken[column.name] = position
            columns.append((position, column))
            if heading not in headings_of(sheet):
                says = f"this heading was read as {column.name}, as chosen"
                findings.remark(sheet.name, str(value).strip(), says, None, raw.file)
    return sorted(columns, key=lambda one: one[0])


def _check_columns(found: SheetHeadings, findings: Findings) -> bool:
    """Refuse a missing column that must be there."""
    missing = [column for column in found.sheet.columns if column.required and column.name not in found.names]
    for column in missing:
        findings.refuse(
            found.sheet.name,
            found.heading_row,
            column.name,
            "",
            "this column is missing",
            "add it, or write this heading over the column that holds it",
            found.file,
        )
    return not missing


def _tell_what_is_hidden(raw: RawSheet, found: SheetHeadings, findings: Findings) -> None:
    if raw.hidden:
        findings.remark(found.sheet.name, "", "this sheet is hidden; it was read all the same", None, raw.file)
    for row in found.rows:
        if row.hidden:
            findings.remark(found.sheet.name, "", "hidden rows were read all the same", row.number, raw.file)
    for position, column in found.columns:
        if position in raw.hidden_columns:
            findings.remark(
                found.sheet.name, column.name, "this column is hidden; it was read all the same", None, raw.file
            )
    for remark in raw.remarks:
        findings.remark(found.sheet.name, "", remark, None, raw.file)


def _refuse_merged(raw: RawSheet, found: SheetHeadings, findings: Findings) -> None:
    """Refuse merged cells among the data: only the first of them holds a value, the others would be read as blank."""
    positions = {position: column.name for position, column in found.columns}
    last_row = max((row.number for row in found.rows), default=found.heading_row)
    for area in raw.merged:
        if not re.fullmatch(r"[A-Z]{1,3}\d+:[A-Z]{1,3}\d+", area):
            continue
        first_column, first_row, last_column, end_row = range_boundaries(area)
        touched = [name for position, name in positions.items() if first_column <= position + 1 <= last_column]
        if touched and end_row > found.heading_row and first_row <= last_row:
            findings.refuse(
                found.sheet.name,
                max(first_row, found.heading_row + 1),
                touched[0],
                "",
                f"the cells {area} are merged, so only the first of them holds a value",
                "undo the merging and fill every cell",
                raw.file,
            )
            findings.to_quote.add(findings.problems[-1].cell)
