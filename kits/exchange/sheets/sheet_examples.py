"""One example row for each sheet: it stands in the templates, and is left out when it comes back untouched."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime

from kits.catalog.folding import fold
from kits.exchange.reading.headings import SheetHeadings
from kits.exchange.reading.raw_sheets import RawRow, is_blank
from kits.exchange.sheets.layouts import Sheet
from kits.exchange.uploads.problems import Findings

Example = Mapping[str, str | int | date]

EXAMPLE = "EXAMPLE"
"""What the name of every example begins with; no entry of a shop may be called so."""

_LOOKED_AT = 5
"""The example stands in the first rows; further down nobody looks for it."""

_DAY = date(2026, 3, 16)

EXAMPLES: dict[str, Example] = {
    "Items": {
        "part_number": "EXAMPLE-014",
        "description": "O-ring of the gland",
        "kind": "part",
        "stock_unit": "each",
        "material": "NBR",
        "hardness": "70 A",
        "size": "0.489 x 0.070 in",
        "form": "O-ring",
        "shelf_life_years": "15",
        "lead_time": "2 w",
    },
    "Structure": {
        "parent": "EXAMPLE-END",
        "child": "EXAMPLE-014",
        "quantity": 2,
        "at_rebuild": "renew",
        "position": "gland",
        "order": 10,
    },
    "Scopes": {"pump": "EXAMPLE-PUMP", "scope": "full reseal", "section": "EXAMPLE-END", "how_many": 2},
    "KitFits": {"kit": "EXAMPLE-KIT", "fits": "EXAMPLE-END", "option": "compound=NBR", "instances": 1},
    "FindingRules": {
        "finding": "EXAMPLE: metal in the oil",
        "assembly": "EXAMPLE-END",
        "effect": "add",
        "part_number": "EXAMPLE-014",
        "quantity": 1,
    },
    "Substitutes": {"part_number": "EXAMPLE-014", "substitute": "EXAMPLE-014F", "direction": "one_way"},
    "Suppliers": {"supplier": "EXAMPLE Rings", "currency": "EUR", "transit_days": 2},
    "Offers": {
        "supplier": "EXAMPLE Rings",
        "part_number": "EXAMPLE-014",
        "pack_size": 25,
        "lead_time": "2 w",
        "price_per_pack": 10,
    },
    "Places": {"place": "EXAMPLE-A1", "walk_order": 10, "kind": "bin"},
    "Lots": {
        "part_number": "EXAMPLE-014",
        "lot": "EXAMPLE-L1",
        "quantity": 12,
        "place": "EXAMPLE-A1",
        "cure": "4Q25",
    },
    "KitContents": {
        "part_number": "EXAMPLE-KIT",
        "lot": "EXAMPLE-K1",
        "holds": "EXAMPLE-014",
        "of_lot": "EXAMPLE-L1",
        "quantity": 2,
    },
    "Orders": {
        "order": "EXAMPLE-PO",
        "line": "1",
        "supplier": "EXAMPLE Rings",
        "part_number": "EXAMPLE-014",
        "quantity": 25,
        "promised": _DAY,
    },
    "Schedule": {
        "job": "EXAMPLE-J1",
        "pump": "EXAMPLE-PUMP",
        "scope": "full reseal",
        "build_date": _DAY,
        "batch": "spring",
    },
    "OtherNeeds": {"need": "EXAMPLE-van", "part_number": "EXAMPLE-014", "quantity": 2, "need_date": _DAY},
    "Issued": {
        "job": "EXAMPLE-J1",
        "part_number": "EXAMPLE-014",
        "lot": "EXAMPLE-L1",
        "quantity": 2,
        "state": "reserved",
    },
    "Verdicts": {
        "job": "EXAMPLE-J1",
        "where": "pump 1 / END 1 / ball",
        "part_number": "EXAMPLE-BALL",
        "verdict": "renew",
        "found": "pitted",
    },
    "Findings": {"job": "EXAMPLE-J1", "finding": "EXAMPLE: metal in the oil", "found_on": _DAY},
    "Holidays": {"date": date(2026, 12, 25), "name": "EXAMPLE: a closed day"},
    "Settings": {"name": "EXAMPLE", "value": "currency, today, staging_days and others"},
}


def drop_example(found: SheetHeadings, findings: Findings) -> None:
    """Leave the untouched example out; refuse one that was half typed over, for nobody knows what it was to be."""
    for row in found.rows[:_LOOKED_AT]:
        filled = _filled(found, row)
        named = (name for name in _naming(found.sheet) if fold(filled.get(name, "")).startswith(EXAMPLE.casefold()))
        column = next(named, "")
        if not column:
            continue
        if filled == _as_texts(found, EXAMPLES[found.sheet.name]):
            findings.remark(found.sheet.name, "", "the example row was left out", row.number, found.file)
        else:
            findings.refuse(
                found.sheet.name,
                row.number,
                column,
                filled[column],
                "this row is half the example and half an entry",
                "type over everything in it that says EXAMPLE, or delete the row",
                found.file,
            )
        found.rows.remove(row)


def _naming(sheet: Sheet) -> list[str]:
    """The columns whose texts say that a row is the example; a description may begin as it likes."""
    return ["name"] if sheet.name == "Holidays" else [column.name for column in sheet.key]


def _filled(found: SheetHeadings, row: RawRow) -> dict[str, str]:
    return {
        column.name: _text(row.values[position])
        for position, column in found.columns
        if position < len(row.values) and not is_blank(row.values[position])
    }


def _as_texts(found: SheetHeadings, example: Example) -> dict[str, str]:
    names = found.names
    return {name: _text(value) for name, value in example.items() if name in names}


def _text(value: object) -> str:
    if isinstance(value, datetime):
        value = value.date()
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return value.isoformat() if isinstance(value, date) else str(value).strip()


def example_row(sheet: Sheet) -> list[str | int | date | None]:
    """The example of a sheet, cell by cell."""
    return [EXAMPLES[sheet.name].get(column.name) for column in sheet.columns]
