"""All checks that look across rows and sheets, in one place and one order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from kits.exchange.sheets.amounts import settle_quantities
from kits.exchange.sheets.names import Names
from kits.exchange.sheets.records import Record
from kits.exchange.sheets.rules.catalog import (
    check_finding_rule,
    check_kit_fit,
    check_scope_row,
    check_structure_line,
    check_substitute,
)
from kits.exchange.sheets.rules.days import ask_about_days
from kits.exchange.sheets.rules.items import check_item, check_other_numbers
from kits.exchange.sheets.rules.missing_items import note_missing
from kits.exchange.sheets.rules.references import ReferenceCheck
from kits.exchange.sheets.rules.shop import (
    check_job,
    check_kit_piece,
    check_lot,
    check_lots_agree,
    check_returns,
    check_setting,
    check_stages,
    check_supplier,
    check_verdict,
)
from kits.exchange.uploads.problems import Findings
from kits.exchange.uploads.progress import told

_RULES: dict[str, Callable[[Record, Names, Findings], None]] = {
    "Items": check_item,
    "Structure": check_structure_line,
    "Scopes": check_scope_row,
    "KitFits": check_kit_fit,
    "FindingRules": check_finding_rule,
    "Substitutes": check_substitute,
    "Suppliers": check_supplier,
    "Lots": check_lot,
    "KitContents": check_kit_piece,
    "Schedule": check_job,
    "Verdicts": check_verdict,
    "Settings": check_setting,
}


def check_records(records: Sequence[Record], names: Names, today: date, findings: Findings) -> None:
    """Check every record against all others and the shop's own; quantities come out in millionths, names as spelled."""
    references = ReferenceCheck(names, findings)
    for record in told("Checking rows", records, len(records)):
        references.check(record)
        settle_quantities(record, names, findings)
        rule = _RULES.get(record.sheet.name)
        if rule is not None:
            rule(record, names, findings)
    check_other_numbers([record for record in records if record.sheet.name == "Items"], names, findings)
    check_lots_agree((record for record in records if record.sheet.name == "Lots"), findings)
    check_stages((record for record in records if record.sheet.name == "Schedule"), findings)
    check_returns((record for record in records if record.sheet.name == "Issued"), findings)
    _refuse_duplicates(records, findings)
    note_missing(records, names, references.alike, findings)
    ask_about_days(records, names, today, findings)


def _refuse_duplicates(records: Sequence[Record], findings: Findings) -> None:
    by_sheet: dict[str, list[Record]] = {}
    for record in records:
        by_sheet.setdefault(record.sheet.name, []).append(record)
    for some in by_sheet.values():
        # Nearly always every key stands once, and keys by themselves take a third of the memory of who has them.
        keyed = [record for record in some if _has_key(record)]
        if len({record.key for record in keyed}) < len(keyed):
            _refuse_second(keyed, findings)


def _has_key(record: Record) -> bool:
    return all(record.values.get(column.name) is not None for column in record.sheet.key if column.required)


def _refuse_second(records: Sequence[Record], findings: Findings) -> None:
    first: dict[str, Record] = {}
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
