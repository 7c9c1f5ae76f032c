"""What each column means, in a sentence: stands beside the headings of the templates and on the page of all sheets."""

from __future__ import annotations

from dataclasses import dataclass

from kits.exchange.columns.layout import Column, Layout
from kits.exchange.columns.layouts import LAYOUTS
from kits.people.sheet_rights import who_loads


@dataclass(frozen=True, slots=True)
class ExplainedSheet:
    """A sheet with who loads it, and what each of its columns means."""

    sheet: Layout
    who_loads: str
    columns: tuple[tuple[Column, str], ...]


_OF_ALL: dict[str, str] = {
    "part_number": "Our number of the part, kit, assembly or pump, as it stands in Items.",
    "quantity": "How many, in the unit of the column unit, or in the item's stock unit.",
    "unit": "Unit of the quantity; blank is the item's stock unit.",
    "option": "Only with these answers, such as compound=FKM; several with ; between.",
    "cleanliness": "The cleanliness that is asked for.",
    "supplier": "Name of the supplier, as in Suppliers.",
    "job": "Number of the job, as in Schedule.",
    "lot": "Number on the packet: maker's lot, or one of your own.",
    "place": "Bin or shelf, as in Places.",
    "priority": "1 is served first, 9 last.",
    "currency": "Currency code, such as EUR; blank is the shop's own.",
    "note": "Anything worth knowing.",
    "lead_time": "Working days from order to dispatch; weeks as 14 w.",
    "use_kits": "Whether seal kits are used where they fit.",
    "finding": "What was found, in a word or two, such as metal in the oil.",
    "pump": "Part number of the pump.",
    "scope": "How deep the rebuild goes, such as full reseal.",
}

_READS = {
    "word": "One of: {words}.",
    "yes_no": "yes or no.",
    "whole": "A whole number, {least} or more.",
    "quantity": "A number above 0.",
    "stock": "A number, 0 or more.",
    "rate": "A number from 0 to 100.",
    "money": "A price, without the sign of the currency.",
    "day": "A date.",
    "use_by": "A date, or a month, which means its last day.",
}


def column_note(sheet: Layout, column: Column) -> str:
    """What a column means, how its cells are written, and what a blank means."""
    parts = [sheet.notes.get(column.name) or _OF_ALL[column.name]]
    if column.reads in _READS:
        parts.append(_READS[column.reads].format(words=", ".join(column.words), least=column.least))
    if column.required:
        parts.append("Must be filled in.")
    elif column.default and column.default != "0":
        parts.append(f"Blank means {column.default}.")
    return " ".join(parts)


def explained_sheets() -> tuple[ExplainedSheet, ...]:
    """Every sheet with what its columns mean."""
    return tuple(
        ExplainedSheet(
            sheet, who_loads(sheet.name), tuple((column, column_note(sheet, column)) for column in sheet.columns)
        )
        for sheet in LAYOUTS
    )
