"""What else is wrong when some rows already are: the sound rows are tried out, so that nothing is told too late."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from django.db import DatabaseError

from bom.errors import BomError, Fault
from kits.catalog.folding import fold
from kits.exchange.problems.findings import Findings
from kits.exchange.records.records import SheetRecord
from kits.exchange.sheets.rules.faults import refuse_faults, shop_faults
from kits.exchange.sheets.stores.sheet_store import Occasion
from kits.exchange.uploads.store import store_records

_LEFT_OUT = frozenset({"job", "lot"})
"""Kinds of things without which the rest can be tried: what names one of them is left out with it."""


def look_at_sound_rows(
    records: Sequence[SheetRecord], replaced: frozenset[str], occasion: Occasion, findings: Findings
) -> None:
    """Note what the engine finds wrong with the sound rows, inside a transaction that is then left.

    A fault that touches anything a faulty row names may come from that row alone, so it waits for the next load; a
    circle in the structure is one whatever else is wrong.
    """
    faulty = [record for record in records if record.faulty]
    missing = _names_in_doubt(faulty)
    sound = [
        record
        for record in records
        if not record.faulty and not any(name in missing.get(kind, ()) for kind, name in _names_of(record))
    ]
    doubtful_sheets = {problem.sheet for problem in findings.problems if problem.row is None}
    doubtful_sheets |= {record.sheet.name for record in faulty if record.sheet.others_lean_on_it}
    if doubtful_sheets or not sound:
        return
    named = {fold(text) for record in faulty for text in record.values.values() if isinstance(text, str)}
    tried = Findings()
    try:
        before = shop_faults(occasion.today)
        store_records(sound, replaced, occasion, tried)
        faults = () if tried.problems else shop_faults(occasion.today)
    except (DatabaseError, BomError):  # what the sound rows cannot do alone is told when the others are right
        return
    refuse_faults([fault for fault in faults if fault not in before and _stands_alone(fault, named)], sound, findings)


def _names_in_doubt(faulty: Sequence[SheetRecord]) -> dict[str, set[str]]:
    """By kind, the names of the faulty rows: nobody finds these rows, so what names them is left out."""
    found: dict[str, set[str]] = {}
    for record in faulty:
        for column in record.sheet.columns:
            if column.brings in _LEFT_OUT and record.text(column.name):
                found.setdefault(column.brings, set()).add(fold(record.text(column.name)))
    return found


def _names_of(record: SheetRecord) -> Iterator[tuple[str, str]]:
    """The jobs and lots that a row names, itself included."""
    for column in record.sheet.columns:
        if (kind := column.names or column.brings) in _LEFT_OUT:
            yield kind, fold(record.text(column.name))


def _stands_alone(fault: Fault, named: set[str]) -> bool:
    if "runs in a circle" in fault.says:
        return True
    return not any(fold(text) in named for text in fault.key)
