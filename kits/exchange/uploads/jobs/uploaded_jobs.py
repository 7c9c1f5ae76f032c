"""The jobs that an upload changes, from before it is stored until it is kept."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from django.db.models import Q

from kits.catalog.folding import fold
from kits.exchange.columns.work_layouts import SCHEDULE
from kits.exchange.models import Upload, UploadOrigin
from kits.exchange.problems.findings import Findings
from kits.exchange.problems.row_changes import SheetChange
from kits.exchange.records.records import SheetRecord
from kits.exchange.uploads.jobs.changed_jobs import refuse_changes_on_rounds
from kits.exchange.uploads.jobs.kept_changes import ChangeKeeper, keep_split_off
from kits.exchange.uploads.jobs.split_jobs import hand_over, refuse_known_jobs, sheets_along
from kits.people.models import User

SPLIT_SAYS = "split into one job for each pump"


class UploadedJobs:
    """Made before anything is stored, for it remembers how the jobs stood; None for a load that nobody keeps."""

    def __init__(self, upload: Upload | None, records: Sequence[SheetRecord]) -> None:
        self.upload, self.why = upload, _why(upload) if upload else ""
        self.along = sheets_along(upload)
        named = [fold(record.text("job")) for record in records if record.sheet is SCHEDULE] if self.why else []
        self.changes = ChangeKeeper(Q(folded__in=named))

    def settle(self, sheets: Iterable[SheetChange], findings: Findings) -> None:
        """Refuse what may not become of jobs, and let what hangs on them go along, when their rows are stored."""
        refuse_known_jobs(self.upload, sheets, findings)
        refuse_changes_on_rounds(sheets, findings)
        if self.along and self.upload and not findings.problems:
            hand_over(self.upload.typed["numbers"].splitlines())

    def keep(self, by: User | None, at: datetime, key: str) -> None:
        """Keep with each job what was changed of it, where somebody said why."""
        if self.why:
            self.changes.keep(why=self.why, by=by, at=at, key=key)
        if self.upload and self.upload.origin == UploadOrigin.SPLIT:
            keep_split_off(self.upload.typed["numbers"].splitlines(), why=self.why, by=by, at=at, key=key)


def _why(upload: Upload) -> str:
    """Why an upload changes jobs: what somebody wrote, else by which list, or that they were split."""
    if upload.why or upload.origin == UploadOrigin.SPLIT:
        return upload.why or SPLIT_SAYS
    return f"by list {upload}"[:500]
