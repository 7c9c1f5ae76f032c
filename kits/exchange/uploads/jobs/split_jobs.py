"""What hangs on the pumps of a job that is split goes to the job of its pump, inside the load that splits it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kits.catalog.folding import fold
from kits.exchange.columns.work_layouts import FINDINGS, SCHEDULE, VERDICTS
from kits.exchange.models import Upload, UploadOrigin
from kits.exchange.problems.findings import Findings
from kits.exchange.problems.row_changes import NEW, SheetChange
from kits.schedule.models import Finding, Job, Verdict
from kits.schedule.splitting import on_its_own, pump_at

ALONG = frozenset((VERDICTS.name, FINDINGS.name))
"""The sheets of what goes along, so that it is taken back with the jobs."""


def sheets_along(upload: Upload | None) -> frozenset[str]:
    """The sheets that an upload changes besides those of its rows."""
    return ALONG if upload is not None and upload.origin == UploadOrigin.SPLIT else frozenset()


def refuse_known_jobs(upload: Upload | None, sheets: Iterable[SheetChange], findings: Findings) -> None:
    """Refuse a number that somebody else gave to a job meanwhile: jobs entered on a page, or split off, are new."""
    known = {UploadOrigin.ENTERED.value: 0, UploadOrigin.SPLIT.value: 1}.get(upload.origin if upload else "")
    rows = [row for sheet in sheets for row in sheet.rows] if known is not None else []
    for row in rows[known:]:
        if row.outcome != NEW:
            says = "it is a job already, entered by somebody else meanwhile"
            findings.refuse(SCHEDULE.name, row.row, "job", row.key, says, "give it another number")


def hand_over(numbers: Sequence[str]) -> None:
    """Give verdicts to the job of their pump, and findings to all; some statements, and one for each verdict moved."""
    known = {job.folded: job for job in Job.objects.filter(folded__in=[fold(number) for number in numbers])}
    first, *others = (known[fold(number)] for number in numbers)
    for verdict in Verdict.objects.filter(job=first).order_by("pk"):
        pump = pump_at(verdict.where)
        if pump > 1:
            where = on_its_own(verdict.where)
            Verdict.objects.filter(pk=verdict.pk).update(job=others[pump - 2], where=where, folded=fold(where))
    Finding.objects.bulk_create(
        [
            Finding(job=job, finding=row.finding, section=row.section, found_on=row.found_on, note=row.note)
            for row in Finding.objects.filter(job=first).order_by("pk")
            for job in others
        ]
    )
