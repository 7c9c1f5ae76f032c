"""Which sheets an upload touches, and which of them are closed to somebody."""

from __future__ import annotations

from collections.abc import Collection

from kits.exchange.models import Upload
from kits.exchange.problems.findings import Findings
from kits.exchange.uploads.jobs.split_jobs import sheets_along
from kits.exchange.uploads.outcome import outcome_from_json
from kits.people.models import User
from kits.people.roles import ADMINISTRATOR
from kits.people.sheet_rights import require_sheets, sheets_refused, who_loads


def sheets_touched(upload: Upload) -> frozenset[str]:
    """The sheets that an upload touches, by its last check and by what was kept to take it back.

    What went along with a job that was split belongs to whoever may split it.
    """
    kept = set(upload.kept_rows.values_list("sheet", flat=True)) - sheets_along(upload)
    return frozenset(outcome_from_json(upload.outcome).touched) | kept


def require_handling(upload: Upload, person: User) -> None:
    """Leave what somebody else brought in to whoever may load it: before it was checked, to whoever may load all."""
    if upload.by_id != person.pk:
        require_sheets(person, sheets_touched(upload) if upload.outcome else ADMINISTRATOR.loads)


def refuse_sheets(person: User | None, sheets: Collection[str], findings: Findings) -> None:
    """Note each sheet that somebody may not load: with one of them nothing of the files is stored."""
    for sheet in sheets_refused(person, sheets):
        findings.refuse(sheet, None, "", "", f"it {who_loads(sheet)}", "leave the sheet out, or ask one of them")
