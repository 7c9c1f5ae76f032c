"""Stores checked records, sheet by sheet, inside a transaction only; says what is new, changed and the same."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import tablib
from django.db.models import ProtectedError
from import_export.exceptions import ImportError as RowsRefused

from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.folding import fold
from kits.exchange.sheets.issued_sheet import IssuedSheet
from kits.exchange.sheets.kit_content_sheet import KitContentSheet
from kits.exchange.sheets.layouts import SHEETS
from kits.exchange.sheets.lookups import Lookups
from kits.exchange.sheets.lot_sheet import LotSheet
from kits.exchange.sheets.records import Record
from kits.exchange.sheets.resources import RESOURCES
from kits.exchange.sheets.sheet_resources import ROWS_AT_ONCE, SheetResource
from kits.exchange.uploads.problems import Findings
from kits.exchange.uploads.progress import tell
from kits.exchange.uploads.row_changes import CHANGED, NEW, SAME, RowChange, SheetChange
from kits.people.models import User
from kits.purchasing.writes import note_moved_promises, promised_days
from kits.schedule.models import Batch

_AS_STORED = RowChange(0, "", SAME)
_ONE_MORE = RowChange(0, "", NEW)
"""Of rows that are the same, and of new ones beyond those that are told, only the count is: one stands for all."""
_OUTCOMES = {"new": NEW, "update": CHANGED, "skip": SAME}
_SHOP_SHEETS = frozenset("Places Schedule OtherNeeds Lots KitContents Orders Issued Verdicts Findings".split())


@dataclass(frozen=True, slots=True)
class Occasion:
    """Who loads what, when, and under which key the ledger's postings are kept apart."""

    by: User | None
    at: datetime
    today: date
    key: str
    reason: str


def mark_sheets(names: frozenset[str]) -> None:
    """Mark what is about to change, the catalog first, before any row is locked."""
    if names - _SHOP_SHEETS:
        mark_catalog()
    if names & _SHOP_SHEETS:
        mark_shop()


def store_records(
    records: Iterable[Record], replaced: frozenset[str], occasion: Occasion, findings: Findings
) -> tuple[SheetChange, ...]:
    """Store all records, each sheet after those it names, then remove what replaced sheets no longer name.

    The records of a sheet are let go when they are stored, unless others hold them too.
    """
    by_sheet: dict[str, list[Record]] = {}
    for record in records:
        by_sheet.setdefault(record.sheet.name, []).append(record)
    lookups = Lookups()
    rows: dict[str, tuple[RowChange, ...]] = {}
    for sheet in SHEETS:
        if sheet.name in by_sheet:
            some = by_sheet[sheet.name] if sheet.name in replaced else by_sheet.pop(sheet.name)
            rows[sheet.name] = _store_sheet(sheet.name, some, lookups, occasion)
            del some
            lookups.forget()
    removed = {
        sheet.name: _remove_others(sheet.name, by_sheet.get(sheet.name, []), lookups, occasion, findings)
        for sheet in reversed(SHEETS)
        if sheet.name in replaced
    }
    names = [sheet.name for sheet in SHEETS if sheet.name in rows or sheet.name in removed]
    return tuple(SheetChange(name, rows.get(name, ()), removed.get(name, ())) for name in names)


def _store_sheet(name: str, records: list[Record], lookups: Lookups, occasion: Occasion) -> tuple[RowChange, ...]:
    if name == "Lots":
        return LotSheet(lookups).load(
            records,
            by=occasion.by,
            at=occasion.at,
            today=occasion.today,
            key=f"{occasion.key}:lots",
            reason=occasion.reason,
        )
    if name == "Issued":
        return IssuedSheet(lookups).load(
            records, by=occasion.by, at=occasion.at, key=f"{occasion.key}:issued", reason=occasion.reason
        )
    if name == "KitContents":
        return KitContentSheet(lookups).load(records)
    if name == "Schedule":
        _add_batches(records, lookups)
    promised = promised_days() if name == "Orders" else {}
    changes: list[RowChange] = [_AS_STORED] * len(records)
    for places in _groups(name, records):
        _import(RESOURCES[name](lookups), records, places, changes)
        lookups.forget()
    if promised:
        note_moved_promises(
            promised, reason=occasion.reason, by=occasion.by, at=occasion.at, key=f"{occasion.key}:promise"
        )
    return tuple(changes)


def _groups(name: str, records: list[Record]) -> Iterable[list[int]]:
    """Places of rows that can be stored together: the same columns, and items after those that they are got as."""
    groups: dict[tuple[int, tuple[str, ...]], list[int]] = {}
    depths = _depths(records) if name == "Items" else {}
    for place, record in enumerate(records):
        groups.setdefault((depths.get(id(record), 0), tuple(record.values)), []).append(place)
    return [groups[key] for key in sorted(groups, key=lambda key: key[0])]


def _depths(records: list[Record]) -> dict[int, int]:
    if not any(record.text("get_as") for record in records):
        return {}
    by_number = {fold(record.text("part_number")): record for record in records}
    depths: dict[int, int] = {}
    for record in records:
        steps, one = 0, record
        while (other := by_number.get(fold(one.text("get_as")))) is not None and steps <= len(records):
            steps, one = steps + 1, other
        depths[id(record)] = steps
    return depths


def _import(resource: SheetResource, records: list[Record], places: list[int], changes: list[RowChange]) -> None:
    for start in range(0, len(places), ROWS_AT_ONCE):
        tell(f"Comparing {resource.sheet.name} with what is stored", start, len(places))
        some = places[start : start + ROWS_AT_ONCE]
        for place, change in zip(some, _import_some(resource, [records[place] for place in some]), strict=True):
            changes[place] = change


def _import_some(resource: SheetResource, records: list[Record]) -> Iterator[RowChange]:
    headers = list(records[0].values)
    dataset = tablib.Dataset(*(tuple(record.values.values()) for record in records), headers=headers)
    try:
        result = resource.import_data(dataset, dry_run=False, raise_errors=True, use_transactions=False)
    except RowsRefused as refused:
        raise refused.error from refused
    for record, row in zip(records, result.rows, strict=True):
        outcome = _OUTCOMES[row.import_type]
        if outcome == SAME:
            yield _AS_STORED
        elif outcome == NEW and not row.changes:
            yield _ONE_MORE
        else:
            yield RowChange(record.row, record.key_shown, outcome, row.changes)


def _add_batches(records: list[Record], lookups: Lookups) -> None:
    """Batches have no sheet: they are there as soon as a job names them."""
    names = {fold(record.text("batch")): record.text("batch") for record in reversed(records) if record.text("batch")}
    missing = [name for name in names.values() if not lookups.has("batch", name)]
    Batch.objects.bulk_create([Batch(name=name) for name in missing])
    if missing:
        lookups.forget()


def _remove_others(
    name: str, records: list[Record], lookups: Lookups, occasion: Occasion, findings: Findings
) -> tuple[str, ...]:
    facts: dict[str, Any] = {"by": occasion.by, "at": occasion.at, "reason": occasion.reason}
    if name == "Lots":
        return LotSheet(lookups).remove_others(records, key=f"{occasion.key}:lots-removed", **facts)
    if name == "Issued":
        return IssuedSheet(lookups).remove_others(records, key=f"{occasion.key}:issued-removed", **facts)
    if name == "KitContents":
        return KitContentSheet(lookups).remove_others(records)
    resource = RESOURCES[name](lookups)
    named = {resource.key_of_row(record.values) for record in records}
    others = [row for row in resource.get_queryset() if resource.key_of_stored(row) not in named]
    shown = tuple(_shown(resource, row) for row in others)
    keys = [row.pk for row in others]
    try:
        for start in range(0, len(keys), 500):
            resource.get_queryset().filter(pk__in=keys[start : start + 500]).delete()
    except ProtectedError as error:
        users = sorted({f"{_user_words(row)} {row}" for row in error.protected_objects})
        findings.refuse(
            name,
            None,
            "",
            "",
            f"of the rows that it does not name and that would be removed ({len(shown)}), some are still used, by "
            f"{'; '.join(users[:5])}" + (" and others" if len(users) > 5 else ""),
            "write those rows into the sheet as well, or first take away what uses them",
        )
    lookups.forget()
    return shown


def _user_words(row: Any) -> str:
    """What uses a row, in the words of the shop: a balance is what lies there."""
    words = str(type(row)._meta.verbose_name)
    return {"balance": "stock of"}.get(words, words)


def _shown(resource: SheetResource, row: Any) -> str:
    texts = [field.text(field.get_value(row)) for field in resource.key_fields]
    return " / ".join(text for text in texts if text)
