"""Bringing lists in: check, load, keep an upload, confirm it, withdraw it."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Sequence
from datetime import datetime

from django.db import DatabaseError, transaction
from django.utils import timezone

from bom.errors import BomError, Fault
from kits.catalog.errors import Refusal
from kits.exchange.checks import check_records
from kits.exchange.faults import refuse_faults, remark_faults, shop_faults
from kits.exchange.models import Upload, UploadedFile, UploadState
from kits.exchange.names import gather_names
from kits.exchange.outcome import Outcome, outcome_of
from kits.exchange.preparing import Prepared, read_files, replaced_sheets
from kits.exchange.problems import Findings
from kits.exchange.row_changes import SheetChange
from kits.exchange.second_look import look_further
from kits.exchange.sheet_files import SheetFile
from kits.exchange.store import Occasion, mark_sheets, store_records
from kits.people.models import User


class _Undo(Exception):
    """Leaves the transaction without storing anything."""


def check_files(
    *, files: Sequence[SheetFile], at: datetime, replaced: Collection[str] = (), findings: Findings | None = None
) -> Outcome:
    """Read files and work out what they would change; store nothing."""
    return _Load(files, None, at, replaced, keep=False).run(findings)


def load_files(
    *,
    files: Sequence[SheetFile],
    by: User | None,
    at: datetime,
    replaced: Collection[str] = (),
    findings: Findings | None = None,
) -> Outcome:
    """Read files and store what they hold, or nothing at all if there is a problem."""
    return _Load(files, by, at, replaced, keep=True).run(findings)


def keep_upload(*, files: Sequence[SheetFile], by: User | None, at: datetime, replaced: Collection[str] = ()) -> Upload:
    """Check files and keep them with the outcome, so that the preview can be confirmed later."""
    outcome = check_files(files=files, at=at, replaced=replaced)
    state = UploadState.REFUSED if outcome.problems else UploadState.CHECKED
    with transaction.atomic(durable=True):
        upload = Upload.objects.create(by=by, at=at, state=state, replaced=sorted(replaced), outcome=outcome.as_json())
        UploadedFile.objects.bulk_create(
            [UploadedFile(upload=upload, name=file.name, digest=file.digest, content=file.content) for file in files]
        )
    return upload


def load_upload(*, upload: Upload, by: User, at: datetime) -> Outcome:
    """Load a checked upload once: it is read and checked anew, for the shop may have changed since the preview."""
    files = [SheetFile(file.name, bytes(file.content)) for file in upload.files.all()]
    outcome = _Load(files, by, at, upload.replaced, keep=True, upload=upload).run()
    if outcome.problems:
        Upload.objects.filter(pk=upload.pk, state=UploadState.CHECKED).update(
            state=UploadState.REFUSED, outcome=outcome.as_json()
        )
    upload.refresh_from_db()
    return outcome


def withdraw_upload(*, upload: Upload, by: User, at: datetime) -> None:
    """Put an upload aside without loading it."""
    with transaction.atomic(durable=True):
        changed = Upload.objects.filter(pk=upload.pk, state__in=(UploadState.CHECKED, UploadState.REFUSED)).update(
            state=UploadState.WITHDRAWN, loaded_by=by, loaded_at=at
        )
        if not changed:
            raise Refusal(
                f"Upload {upload.pk} is {upload.state}, so it cannot be withdrawn: change the lists themselves."
            )


class _Load:
    """One load: what was read outside is checked and stored under the lock that marking takes, or leaves no trace."""

    def __init__(
        self,
        files: Sequence[SheetFile],
        by: User | None,
        at: datetime,
        replaced: Collection[str],
        *,
        keep: bool,
        upload: Upload | None = None,
    ) -> None:
        self.files, self.by, self.at, self.replaced = files, by, at, replaced
        self.keep, self.upload = keep, upload

    def run(self, findings: Findings | None = None, tolerated: tuple[Fault, ...] = ()) -> Outcome:
        """Do it; ``tolerated`` are faults that the shop's lists had before."""
        found = Findings(list(findings.problems)) if findings else Findings()
        prepared = read_files(self.files, timezone.localdate(self.at), found)
        replaced = replaced_sheets(self.replaced, prepared, found)
        sheets: tuple[SheetChange, ...] = ()
        faults: tuple[Fault, ...] = ()
        stored = False
        try:
            with transaction.atomic(durable=True):
                mark_sheets(prepared.sheets | replaced)
                check_records(prepared.records, gather_names(prepared.records, prepared.parts), found)
                if found.problems:
                    look_further(prepared.records, replaced, self._occasion(prepared), found)
                self._leave_if(bool(found.problems))
                sheets = store_records(prepared.records, replaced, self._occasion(prepared), found)
                self._leave_if(bool(found.problems))
                faults = shop_faults(prepared.today)
                self._leave_if(not set(faults) <= set(tolerated))
                stored = self.keep and any(sheet.changes_something for sheet in sheets)
                if self.keep and self.upload is not None:
                    _settle(self.upload, self.by, self.at, outcome_of(found, sheets, stored=stored))
                else:
                    self._leave_if(not stored)
        except _Undo:
            stored = False
        except (DatabaseError, BomError) as error:
            stored = False
            found.refuse("", None, "", "", f"the records refused the load: {str(error).rstrip('.')}", "")
        if not set(faults) <= set(tolerated):
            before = shop_faults(prepared.today)
            if set(faults) <= set(before):
                return self.run(findings, faults)
            refuse_faults([fault for fault in faults if fault not in before], prepared.records, found)
        remark_faults(tolerated, found)
        return outcome_of(found, sheets, stored=stored)

    def _leave_if(self, condition: bool) -> None:
        if condition:
            raise _Undo

    def _occasion(self, prepared: Prepared) -> Occasion:
        key = f"upload:{self.upload.pk}" if self.upload else f"load:{uuid.uuid4().hex}"
        reason = "loaded from " + ", ".join(file.name for file in self.files)
        return Occasion(self.by, self.at, prepared.today, key, reason[:500])


def _settle(upload: Upload, by: User | None, at: datetime, outcome: Outcome) -> None:
    """Mark an upload as loaded; a second confirmation finds it no longer waiting."""
    changed = Upload.objects.filter(pk=upload.pk, state=UploadState.CHECKED).update(
        state=UploadState.LOADED, loaded_by=by, loaded_at=at, outcome=outcome.as_json()
    )
    if not changed:
        raise Refusal(f"Upload {upload.pk} does not wait for a confirmation any more: bring the file in again.")
