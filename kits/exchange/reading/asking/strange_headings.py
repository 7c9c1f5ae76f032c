"""Headings that no column is known by: what they may mean is offered, and what somebody said they mean is kept to.

Nothing is decided by likeness. A choice holds for the whole set of headings of a sheet: the same heading beside others
may mean something else.
"""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from kits.catalog.errors import Refusal
from kits.exchange.columns.layout import Column, Layout, fold_heading, headings_of
from kits.exchange.files.raw_sheets import is_blank
from kits.exchange.problems.asked import StrangeHeading, StrangeSheet

NOT_READ = "-"
"""The choice to leave a column out."""

Choices = Mapping[tuple[str, str], Mapping[str, str]]
"""(sheet, set of headings) -> folded heading -> the column that it stands for, or ``NOT_READ``."""

NO_CHOICES: Choices = {}


def header_set(values: Iterable[object]) -> str:
    """What tells one set of headings from another, whatever their order and spelling."""
    folded = sorted({fold_heading(value) for value in values if not is_blank(value)})
    return hashlib.sha256("\n".join(folded).encode()).hexdigest()


def chosen_columns(choices: Choices, sheet: Layout, values: Sequence[object]) -> dict[str, Column | None]:
    """What was chosen for the headings of this row; None for a column that is left out."""
    if not choices:
        return {}
    chosen = choices.get((sheet.name, header_set(values)), {})
    names = {column.name: column for column in sheet.columns}
    return {folded: names.get(name) for folded, name in chosen.items() if name in names or name == NOT_READ}


def strange_sheet(
    sheet: Layout, file: str, values: Sequence[object], chosen: Mapping[str, Column | None]
) -> StrangeSheet | None:
    """The headings of a row that are known by no spelling, or None if there are none."""
    known = headings_of(sheet)
    found: dict[str, str] = {}
    for value in values:
        if isinstance(value, str) and not is_blank(value) and fold_heading(value) not in known:
            found.setdefault(fold_heading(value), value.strip())
    if not found:
        return None
    taken = {known[folded].name for value in values if (folded := fold_heading(value)) in known}
    free = tuple(column.name for column in sheet.columns if column.name not in taken)
    headings = tuple(
        StrangeHeading(heading, _choice(folded, chosen), _near(folded, sheet, free))
        for folded, heading in found.items()
    )
    return StrangeSheet(sheet.name, file, header_set(values), headings, free)


def _choice(folded: str, chosen: Mapping[str, Column | None]) -> str:
    if folded not in chosen:
        return ""
    column = chosen[folded]
    return column.name if column else NOT_READ


def _near(folded: str, sheet: Layout, free: Sequence[str]) -> tuple[str, ...]:
    """Up to three free columns whose heading, or an older spelling of it, looks like this one."""
    spelled = {
        fold_heading(text): column.name
        for column in sheet.columns
        if column.name in free
        for text in (*column.also, column.name)
    }
    near = difflib.get_close_matches(folded, spelled, n=3, cutoff=0.55)
    near += [text for text in spelled if len(text) > 3 and len(folded) > 3 and (text in folded or folded in text)]
    return tuple(dict.fromkeys(spelled[text] for text in near))[:3]


def strange_as_json(sheets: Iterable[StrangeSheet]) -> list[dict[str, Any]]:
    """Plain values, to be kept with an upload."""
    return [asdict(sheet) for sheet in sheets]


def strange_from_json(kept: Iterable[Mapping[str, Any]]) -> tuple[StrangeSheet, ...]:
    """The strange headings as they were kept with an upload."""
    return tuple(
        StrangeSheet(
            one["sheet"],
            one["file"],
            one["header_set"],
            tuple(StrangeHeading(row["heading"], row["column"], tuple(row["near"])) for row in one["headings"]),
            tuple(one["free"]),
        )
        for one in kept
    )


def choices_of(sheets: Iterable[StrangeSheet]) -> Choices:
    """What was chosen in an upload, to read its files the same way again."""
    return {
        (sheet.sheet, sheet.header_set): {one.folded: one.column for one in sheet.headings if one.column}
        for sheet in sheets
    }


def choices_from_form(sheets: Sequence[StrangeSheet], fields: Mapping[str, str]) -> Choices:
    """What somebody chose: the field ``sheet number . heading number`` names a column, or nothing."""
    choices: dict[tuple[str, str], dict[str, str]] = {}
    for number, sheet in enumerate(sheets):
        chosen: dict[str, str] = {}
        for place, heading in enumerate(sheet.headings):
            column = fields.get(f"{number}.{place}", "")
            if column in chosen.values() and column != NOT_READ:
                raise Refusal(
                    f"Two headings of {sheet.sheet} cannot both be {column}: choose one, and leave the other out."
                )
            if column and column not in (*sheet.free, NOT_READ):
                raise Refusal(f"{sheet.sheet} has no free column {column}: choose one of those offered.")
            if column:
                chosen[heading.folded] = column
        choices[sheet.sheet, sheet.header_set] = chosen
    return choices
