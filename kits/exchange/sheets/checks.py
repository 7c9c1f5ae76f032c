"""All checks that look across rows and sheets, in one place and one order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from kits.catalog.caching.progress import report_rows
from kits.exchange.columns.layout import Layout
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.cells.known_marks import KnownMarks
from kits.exchange.records.amounts import settle_quantities
from kits.exchange.records.names import Names, stored_names
from kits.exchange.records.records import SheetRecord
from kits.exchange.sheets.registry import SHEETS, sheet_of
from kits.exchange.sheets.rules.days import day_doubts
from kits.exchange.sheets.rules.missing_items import note_missing
from kits.exchange.sheets.rules.references import ReferenceCheck


def gather_names(records: Sequence[SheetRecord], parts: KnownMarks) -> Names:
    """Lay the names of the load over those of the shop; a faulty row still brings its name."""
    names = stored_names(parts)
    for record in records:
        bring = sheet_of(record.sheet).bring
        if bring is not None:
            bring(names, record)
    return names


def check_records(records: Sequence[SheetRecord], names: Names, today: date, findings: Findings) -> None:
    """Check every record against all others and the shop's own; quantities come out in millionths, names as spelled."""
    references = ReferenceCheck(names, findings)
    for record in report_rows("Checking rows", records, len(records)):
        references.check(record)
        settle_quantities(record, names, findings)
        check_row = sheet_of(record.sheet).check_row
        if check_row is not None:
            check_row(record, names, findings)
    by_layout = _by_layout(records)
    for sheet in SHEETS:
        if sheet.check_rows is not None and sheet.layout in by_layout:
            sheet.check_rows(by_layout[sheet.layout], names, findings)
    _refuse_duplicates(by_layout, findings)
    note_missing(records, names, references.alike, findings)
    _ask_about_days(by_layout, records, names, today, findings)


def _by_layout(records: Sequence[SheetRecord]) -> Mapping[Layout, list[SheetRecord]]:
    found: dict[Layout, list[SheetRecord]] = {}
    for record in records:
        found.setdefault(record.sheet, []).append(record)
    return found


def _ask_about_days(
    by_layout: Mapping[Layout, Sequence[SheetRecord]],
    records: Sequence[SheetRecord],
    names: Names,
    today: date,
    findings: Findings,
) -> None:
    """Ask about each odd day that a row brings or changes."""
    asked = [(sheet_of(layout), some) for layout, some in by_layout.items() if sheet_of(layout).asked_day]
    doubts = day_doubts(records, names, today) if asked else None
    for sheet, some in asked:
        if doubts is not None and sheet.odd_days is not None:
            for record, doubt in sheet.odd_days(some, doubts):
                if doubt:
                    record.ask(findings, sheet.asked_day, doubt)


def _refuse_duplicates(by_layout: Mapping[Layout, Sequence[SheetRecord]], findings: Findings) -> None:
    for some in by_layout.values():
        # Nearly always every key stands once, and keys by themselves take a third of the memory of who has them.
        keyed = [record for record in some if _has_key(record)]
        if len({record.key for record in keyed}) < len(keyed):
            _refuse_second(keyed, findings)


def _has_key(record: SheetRecord) -> bool:
    return all(record.values.get(column.name) is not None for column in record.sheet.key if column.required)


def _refuse_second(records: Sequence[SheetRecord], findings: Findings) -> None:
    first: dict[str, SheetRecord] = {}
    for record in records:
        other = first.setdefault(record.key, record)
        if other is not record:
            where = f"row {other.row}" + (f" of {other.file}" if other.file != record.file else "")
            record.refuse(
                findings,
                record.sheet.key[0].name,
                f"the {record.sheet.row_is} {record.key_shown} stands twice, first in {where}",
                "delete one of the two rows",
            )
