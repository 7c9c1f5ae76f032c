"""What else is wrong when some rows already are: the sound rows are tried out, so that nothing is told too late."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import DatabaseError

from bom.errors import BomError, Fault
from kits.catalog.folding import fold
from kits.exchange.sheets.records import Record
from kits.exchange.sheets.rules.faults import refuse_faults, shop_faults
from kits.exchange.uploads.problems import Findings
from kits.exchange.uploads.store import Occasion, store_records

NAMED_BY_OTHERS = frozenset({"Items", "Places", "Suppliers", "Settings", "Holidays"})
"""Sheets whose rows others lean on: with one of them in doubt, what follows would be guesswork."""
_LEANED_ON = {"Schedule": ("job", ("job",)), "Lots": ("lot", ("lot", "of_lot"))}
"""Sheet -> what its rows are called by, and the columns that name them: while a row is faulty, it cannot be found."""


def look_further(records: Sequence[Record], replaced: frozenset[str], occasion: Occasion, findings: Findings) -> None:
    """Note what the engine finds wrong with the sound rows, inside a transaction that is then left.

    A fault that touches anything a faulty row names may come from that row alone, so it waits for the next load; a
    circle in the structure is one whatever else is wrong.
    """
    faulty = [record for record in records if record.faulty]
    missing = _names_in_doubt(faulty)
    sound = [
        record
        for record in records
        if not record.faulty and not any(fold(record.text(column)) in names for column, names in missing.items())
    ]
    doubtful_sheets = {problem.sheet for problem in findings.problems if problem.row is None}
    doubtful_sheets |= {record.sheet.name for record in faulty if record.sheet.name in NAMED_BY_OTHERS}
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


def _names_in_doubt(faulty: Sequence[Record]) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for record in faulty:
        called, columns = _LEANED_ON.get(record.sheet.name, ("", ()))
        for column in columns if record.text(called) else ():
            found.setdefault(column, set()).add(fold(record.text(called)))
    return found


def _stands_alone(fault: Fault, named: set[str]) -> bool:
    if "runs in a circle" in fault.says:
        return True
    return not any(fold(text) in named for text in fault.key)
