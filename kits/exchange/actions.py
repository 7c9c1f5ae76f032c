"""Bringing lists in: check, load, keep an upload, confirm it, withdraw it."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.db import DatabaseError, transaction
from django.utils import timezone

from bom.errors import BomError, Fault
from kits.catalog.caching.revisions import hold_marks
from kits.catalog.errors import Refusal
from kits.catalog.folding import without_turns
from kits.catalog.request_log import log_request
from kits.catalog.waiting import is_away, is_busy
from kits.exchange.columns.work_layouts import SCHEDULE, VERDICTS
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.models import WORKED_ON, Upload, UploadedFile, UploadOrigin, UploadState
from kits.exchange.problems.findings import Findings
from kits.exchange.problems.row_changes import SheetChange, digest_of_changes
from kits.exchange.reading.asking.instructions import NO_INSTRUCTIONS, Instructions
from kits.exchange.reading.asking.strange_headings import Choices, choices_of
from kits.exchange.records.records import SheetRecord
from kits.exchange.sheets.checks import check_records, gather_names
from kits.exchange.sheets.rules.afterthoughts import add_afterthoughts, find_named_parts
from kits.exchange.sheets.rules.arrivals import ask_about_old_lots, find_new_lots
from kits.exchange.sheets.rules.faults import refuse_faults, remark_faults, shop_and_faults, shop_faults
from kits.exchange.sheets.stores.sheet_store import Occasion
from kits.exchange.undo.kept_rows import RowKeeper
from kits.exchange.uploads.heading_memory import (
    choices_as_json,
    read_instructions,
    recall_instructions,
    remember_choices,
)
from kits.exchange.uploads.jobs.both_plans import DECIDE_PLANS, PlanAfter, plan_before
from kits.exchange.uploads.jobs.changed_jobs import remark_returns
from kits.exchange.uploads.jobs.uploaded_jobs import UploadedJobs
from kits.exchange.uploads.load_attempt import LoadAttempt, let_go
from kits.exchange.uploads.new_items import add_items
from kits.exchange.uploads.outcome import Outcome, asked_of, make_outcome, needs_reason, outcome_from_json
from kits.exchange.uploads.preparing import Prepared, read_files, replaced_sheets, touched_sheets
from kits.exchange.uploads.quoting import quote_as_typed
from kits.exchange.uploads.rehearsal import copy_tables, work_on_a_copy
from kits.exchange.uploads.second_look import look_at_sound_rows
from kits.exchange.uploads.sheet_doors import refuse_sheets, require_handling, sheets_touched
from kits.exchange.uploads.store import mark_sheets, store_records
from kits.exchange.uploads.stored_once import (
    SENT_UNDER,
    StoredAlready,
    kept_under,
    refuse_overtaken,
    settle,
    settled,
    store_once,
    waiting,
)
from kits.people.models import User
from kits.people.sheet_rights import require_sheets
from kits.planning.desk.actions import keep_expected_wear_besides
from kits.planning.words.states import in_words


def check_files(
    *,
    files: Sequence[SheetFile],
    at: datetime,
    by: User | None = None,
    replaced: Collection[str] = (),
    findings: Findings | None = None,
    instructions: Instructions = NO_INSTRUCTIONS,
) -> Outcome:
    """Read files and work out what they would change for somebody, or for a user of the machine; store nothing."""
    with work_on_a_copy():
        return _Load(files, by, at, replaced, keep=False, instructions=instructions).run(findings)


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


def load_by_command(
    *,
    files: Sequence[SheetFile],
    ran_by: str,
    at: datetime,
    replaced: Collection[str] = (),
    findings: Findings | None = None,
    meant: str | None = None,
    because: str = "",
    instructions: Instructions = NO_INSTRUCTIONS,
) -> Outcome:
    """Load files for a user of the machine, and keep them as an upload with what came of it, to be taken back.

    ``meant`` tells which questions were answered with yes: others keep it from being stored; None asks nothing. Without
    ``because``, the reason, nothing is stored either where a yes takes one.
    """
    upload = Upload(ran_by=ran_by[:150], at=at, replaced=sorted(replaced), state=UploadState.LOADING)
    upload.instructions = instructions.as_json()
    said: dict[str, Any] = {"meant": meant, "because": because, "instructions": instructions}
    outcome = _Load(files, None, at, replaced, keep=True, upload=upload, **said).run(findings)
    if outcome.problems and files:
        upload.pk = None  # what the transaction began with is gone with it
        _note(upload, outcome)
        _keep_with_files(upload, files)
    return outcome


def keep_upload(
    *,
    files: Sequence[SheetFile],
    by: User | None,
    at: datetime,
    replaced: Collection[str] = (),
    origin: UploadOrigin = UploadOrigin.FILES,
    typed: Mapping[str, Any] | None = None,
    findings: Findings | None = None,
    instructions: Instructions | None = None,
    why: str = "",
    key: str = "",
) -> Upload:
    """Check files and keep them with the outcome, so that the preview can be confirmed later.

    ``typed`` is what somebody typed into the fields of a page: it goes back into them to be put right; ``why`` is the
    reason for which lists are changed. Under one ``key`` files are kept once.
    """
    instructions = instructions or recall_instructions(by)
    outcome = check_files(files=files, by=by, at=at, replaced=replaced, findings=findings, instructions=instructions)
    upload = Upload(by=by, at=at, origin=origin, replaced=sorted(replaced), typed=dict(typed or {}), why=why)
    upload.instructions = instructions.as_json()
    _note(upload, outcome)
    return _keep_with_files(upload, files, key)


def load_at_once(
    *,
    file: SheetFile,
    by: User,
    at: datetime,
    origin: UploadOrigin,
    key: str,
    typed: Mapping[str, str] | None = None,
    why: str = "",
) -> Upload:
    """Load what was entered on a page, once per key, where nothing is wrong with it or asked about it; else it waits.

    ``why`` is kept with every job that it changes.
    """
    require_sheets(by, [SCHEDULE.name])
    upload = Upload(by=by, at=at, origin=origin, typed=dict(typed or {}), why=why, state=UploadState.LOADING)
    outcome = _Load([file], by, at, (), keep=True, upload=upload, meant="", because="", key=key).run()
    if outcome.problems or outcome.questions:
        upload.pk = None  # what the transaction began with is gone with it
        _note(upload, outcome)
        _keep_with_files(upload, [file])
    else:
        upload.refresh_from_db()
    return upload


def add_missing_items(*, upload: Upload, rows: Sequence[Mapping[str, str]], by: User, at: datetime) -> Upload:
    """Bring an upload in again with reviewed items that it lacked; the one before is put aside."""
    findings, before = Findings(), outcome_from_json(upload.outcome)
    for one in before.problems:
        if not one.file and one.row is not None:  # what could not be read keeps standing
            findings.refuse(one.sheet, one.row, one.column, one.value, one.reason, one.remedy)
    for remark in before.remarks:
        for row in remark.rows or (None,) if not remark.file else ():
            findings.remark(remark.sheet, remark.column, remark.reason, row)
    withdraw_upload(upload=upload, by=by, at=at)
    return keep_upload(
        files=add_items(upload, rows),
        by=by,
        at=at,
        replaced=upload.replaced,
        origin=UploadOrigin(upload.origin),
        typed=upload.typed,
        findings=findings,
        instructions=read_instructions(upload),
    )


def receive_upload(
    *, files: Sequence[SheetFile], by: User | None, at: datetime, worker: str, replaced: Collection[str] = ()
) -> Upload:
    """Keep files as they came, for a worker to check."""
    upload = Upload(by=by, at=at, replaced=sorted(replaced), state=UploadState.CHECKING, worker=worker, worked_on_at=at)
    _keep_with_files(upload, files)
    return upload


def _keep_with_files(upload: Upload, files: Sequence[SheetFile], key: str = "") -> Upload:
    with transaction.atomic(durable=True):
        if key:
            hold_marks()
            upload.typed = {**upload.typed, SENT_UNDER: key}
            if not log_request(key):
                return kept_under(key) or upload
        _add(upload, files)
    return upload


def _add(upload: Upload, files: Sequence[SheetFile]) -> None:
    upload.save()
    UploadedFile.objects.bulk_create(
        [UploadedFile(upload=upload, name=file.name, digest=file.digest, content=file.content) for file in files]
    )


def check_upload(*, upload: Upload, worker: str, at: datetime) -> None:
    """Check what was received; if another worker has taken it up meanwhile, the outcome is left to that one."""
    files = [SheetFile(file.name, bytes(file.content)) for file in upload.files.all()]
    instructions = recall_instructions(upload.by, upload)
    outcome = check_files(files=files, by=upload.by, at=at, replaced=upload.replaced, instructions=instructions)
    _note(upload, outcome)
    Upload.objects.filter(pk=upload.pk, state=UploadState.CHECKING, worker=worker).update(
        state=upload.state, outcome=upload.outcome, headings=upload.headings, result=upload.result, worker=""
    )


def take_up_upload(*, upload: Upload, by: User, worker: str, at: datetime) -> None:
    """Take over an upload that was left half done, to check it from the beginning."""
    require_handling(upload, by)
    left = Upload.objects.filter(pk=upload.pk, state__in=WORKED_ON, worker=upload.worker)
    if not left.update(state=UploadState.CHECKING, worker=worker, worked_on_at=at):
        raise Refusal(f"Upload {upload.pk} is not worked on any more: look at what came of it.")


def break_off_upload(*, upload: Upload, worker: str) -> None:
    """Say that the work on an upload failed where it must not; nothing of it was stored."""
    found = Findings()
    found.refuse(
        "", None, "", "", "the work on it broke off, and nothing was stored", "upload it again; the log says why"
    )
    outcome = make_outcome(found)
    Upload.objects.filter(pk=upload.pk, state__in=WORKED_ON, worker=worker).update(
        state=UploadState.REFUSED, outcome=outcome.as_json(), result=outcome.says, worker=""
    )


def choose_headings(*, upload: Upload, choices: Choices, by: User, at: datetime) -> Outcome:
    """Say what the strange headings of an upload mean: remembered for this person, and the files are read again."""
    outcome = _read_with(upload, replace(read_instructions(upload), headings=choices), by, at)
    with transaction.atomic(durable=True):
        _keep_reading(upload)
        remember_choices(by, choices, at)
    return outcome


def choose_lists(
    *, upload: Upload, lists: Mapping[str, str], charsets: Mapping[str, str], by: User, at: datetime
) -> Outcome:
    """Say which list a file or sheet of an upload holds, and in which character set a text is: it is read again."""
    instructions = read_instructions(upload)
    instructions = replace(
        instructions, lists={**instructions.lists, **lists}, charsets={**instructions.charsets, **charsets}
    )
    upload.instructions = instructions.as_json()
    outcome = _read_with(upload, instructions, by, at)
    with transaction.atomic(durable=True):
        _keep_reading(upload)
    return outcome


def _read_with(upload: Upload, instructions: Instructions, by: User, at: datetime) -> Outcome:
    require_handling(upload, by)
    files = [SheetFile(file.name, bytes(file.content)) for file in upload.files.all()]
    outcome = check_files(files=files, by=upload.by, at=at, replaced=upload.replaced, instructions=instructions)
    _note(upload, outcome)
    return outcome


def _keep_reading(upload: Upload) -> None:
    """Keep what came of reading an upload anew, if it still waits."""
    waiting = Upload.objects.filter(pk=upload.pk, state__in=(UploadState.CHECKED, UploadState.REFUSED))
    read = ("state", "outcome", "headings", "instructions", "result")
    if not waiting.update(**{name: getattr(upload, name) for name in read}):
        raise Refusal(f"Upload {upload.pk} is settled, so it is not read again: bring the file in again.")


def _note(upload: Upload, outcome: Outcome) -> None:
    """Write down what came of reading the files, and which choices of headings it leans on."""
    upload.state = UploadState.REFUSED if outcome.problems else UploadState.CHECKED
    upload.outcome, upload.result = outcome.as_json(), outcome.says
    upload.headings = choices_as_json(choices_of(outcome.strange))


def say_it_is_meant(*, upload: Upload, asked: str, by: User, because: str = "") -> None:
    """Say yes to everything that was asked about an upload; ``asked`` tells which questions were seen."""
    require_sheets(by, sheets_touched(upload))
    outcome, because = outcome_from_json(upload.outcome), without_turns(because).strip()[:300]
    if asked != outcome.asked:
        raise Refusal(f"Something else is asked about upload {upload.pk} by now: look at it again.")
    if outcome.needs_reason and not because:
        raise Refusal("Nothing is stored yet: write why the lots are accepted that are older than asked for.")
    if not waiting(upload).update(meant=asked, meant_because=because):
        raise settled(upload)
    upload.meant, upload.meant_because = asked, because


def begin_loading(*, upload: Upload, by: User, worker: str, at: datetime) -> None:
    """Hand a checked upload to a worker that loads it; a second confirmation finds it no longer waiting."""
    require_sheets(by, sheets_touched(upload))
    if not waiting(upload).update(state=UploadState.LOADING, worker=worker, worked_on_at=at):
        raise settled(upload)
    upload.state, upload.worker = UploadState.LOADING, worker


def load_upload(
    *, upload: Upload, by: User, at: datetime, still: Callable[[], bool] | None = None, shown: str | None = ""
) -> Outcome:
    """Load a checked upload once: it is read and checked anew, for the shop may have changed since the preview.

    Whoever may not load it leaves it as it is; a right that is lost since then is missed when it is stored. What is
    asked about it, and nobody has said to be meant, keeps it waiting; so does what makes it change something else than
    was ``shown``, by its last check where it is empty. ``still`` asks, behind the mark, whether lists are as they were.
    """
    if upload.state != UploadState.LOADING:
        require_sheets(by, sheets_touched(upload))
    files = [SheetFile(file.name, bytes(file.content)) for file in upload.files.all()]
    instructions = read_instructions(upload)
    said: dict[str, Any] = {"meant": upload.meant, "because": upload.meant_because, "still": still}
    said["shown"] = "" if shown is None else shown or upload.outcome.get("does", "")
    outcome = _Load(files, by, at, upload.replaced, keep=True, upload=upload, instructions=instructions, **said).run()
    if outcome.overtaken:  # looked at anew, outside the lock, for what is shown next
        again = check_files(files=files, by=by, at=at, replaced=upload.replaced, instructions=instructions)
        outcome = replace(again, overtaken=True)
    if outcome.problems or outcome.overtaken or outcome.asked not in ("", upload.meant):
        state = UploadState.REFUSED if outcome.problems else UploadState.CHECKED
        waiting(upload).update(state=state, outcome=outcome.as_json(), result=outcome.says, worker="")
    upload.refresh_from_db()
    return outcome


def withdraw_upload(*, upload: Upload, by: User, at: datetime) -> None:
    """Put an upload aside without loading it."""
    require_handling(upload, by)
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
        instructions: Instructions = NO_INSTRUCTIONS,
        meant: str | None = None,
        because: str | None = None,
        key: str = "",
        still: Callable[[], bool] | None = None,
        shown: str = "",
    ) -> None:
        self.files, self.by, self.at, self.replaced = files, by, at, replaced
        self.keep, self.upload, self.instructions = keep, upload, instructions
        self.meant = meant  # which questions somebody said yes to; None where nobody is asked
        self.key = key  # the request that it answers, which counts once
        self.still = still  # whether what it changes is as it was read
        self.shown = shown  # a digest of the changes that somebody was shown; empty where nobody was
        self.because = because  # why, where a yes takes a reason; None where nobody is asked
        self.is_new = upload is not None and upload.pk is None

    def run(self, findings: Findings | None = None) -> Outcome:
        """Do it; what was wrong with the shop's lists before is remarked, and keeps nothing from being stored."""
        tolerated: tuple[Fault, ...] = ()
        attempt = self._attempt(findings, tolerated)
        if attempt.faults:
            before = shop_faults(attempt.prepared.today)
            if set(attempt.faults) <= set(before):
                tolerated = attempt.faults
                attempt = self._attempt(findings, tolerated)
            new = [fault for fault in attempt.faults if fault not in before]
            refuse_faults(new, self._read_again(), attempt.found)
        remark_faults(tolerated, attempt.found)
        if attempt.stored and VERDICTS.name in attempt.touched:
            keep_expected_wear_besides()
        quote_as_typed(attempt.found, self.files, self.instructions)
        return make_outcome(
            attempt.found,
            attempt.sheets,
            stored=attempt.stored,
            touched=attempt.touched,
            both_plans=attempt.both_plans,
            overtaken=attempt.overtaken,
        )

    def _attempt(self, findings: Findings | None, tolerated: tuple[Fault, ...]) -> LoadAttempt:
        """Read the files outside the lock, then check and store what they hold, or leave no trace."""
        found = findings.copy() if findings else Findings()
        prepared = read_files(self.files, timezone.localdate(self.at), found, self.instructions)
        replaced = replaced_sheets(self.replaced, prepared, found)
        attempt = LoadAttempt(prepared, replaced, touched_sheets(prepared, replaced, found), found)
        if not self.keep and DECIDE_PLANS & attempt.touched and not found.problems:
            attempt.before = plan_before(prepared.today)
        try:
            with transaction.atomic(durable=True):
                if not self._check_and_store(attempt, tolerated):
                    transaction.set_rollback(True)
        except (DatabaseError, BomError) as error:
            if is_busy(error) or is_away(error) or isinstance(error, StoredAlready):
                raise  # nothing is wrong with the lists: they are sent again
            attempt.stored = False
            says = f"the records refused the load: {str(error).rstrip('.')}"
            remedy = "load one sheet after the other to see which it is, and tell it to whoever keeps the site"
            found.refuse("", None, "", "", says, remedy)
        return attempt

    def _check_and_store(self, attempt: LoadAttempt, tolerated: Collection[Fault]) -> bool:
        """Take every step in its order until one finds a reason to stop; whether what was stored stays."""
        prepared, replaced, found = attempt.prepared, attempt.replaced, attempt.found
        if not self.keep:
            copy_tables(attempt.touched)
        mark_sheets(prepared.sheets | replaced)
        store_once(self.key)
        refuse_overtaken(self.still)
        if self.is_new and self.upload is not None:
            self.upload.pk = None
            _add(self.upload, self.files)
        occasion = self._occasion(prepared)
        refuse_sheets(self.by, attempt.touched, found)
        check_records(prepared.records, gather_names(prepared.records, prepared.parts), prepared.today, found)
        if found.problems:
            look_at_sound_rows(prepared.records, replaced, occasion, found)
            return False
        named, new_lots = find_named_parts(prepared.records), find_new_lots(prepared.records)
        jobs = UploadedJobs(self.upload, prepared.records)
        kept = self.keep and self.upload is not None
        keeper = RowKeeper(prepared.sheets | replaced | jobs.along) if kept else None
        attempt.sheets = store_records(let_go(prepared.records), replaced, occasion, found)
        jobs.settle(attempt.sheets, found)
        attempt.overtaken = self._is_overtaken(attempt.sheets)
        if found.problems or attempt.overtaken:
            return False
        shop, faults = shop_and_faults(prepared.today)
        attempt.faults = tuple(faults) if set(faults) - set(tolerated) else ()
        if attempt.faults:
            return False
        if shop is not None and not faults:
            add_afterthoughts(named, shop.catalog, found)
            after = PlanAfter(shop, attempt.before)
            remark_returns(attempt.sheets, after, found)
            attempt.both_plans = after.beside(attempt.sheets)
            ask_about_old_lots(new_lots, shop, prepared.sheets, prepared.today, found)
        if self._waits_for_an_answer(found):
            return False
        attempt.stored = self.keep and any(sheet.changes_something for sheet in attempt.sheets)
        if keeper is None or self.upload is None:
            return attempt.stored
        keeper.keep(self.upload)
        jobs.keep(self.by, self.at, occasion.key)
        quote_as_typed(found, self.files, self.instructions)
        outcome = make_outcome(found, attempt.sheets, stored=attempt.stored, touched=attempt.touched)
        settle(self.upload, self.by, self.at, outcome)
        return True

    def _is_overtaken(self, sheets: tuple[SheetChange, ...]) -> bool:
        """Whether it still waits, and would change something else than was shown."""
        if self.upload is None or self.shown in ("", digest_of_changes(sheets)):
            return False
        return waiting(self.upload).exists()

    def _waits_for_an_answer(self, found: Findings) -> bool:
        unsaid = self.meant is not None and asked_of(found.questions) not in ("", self.meant)
        return unsaid or (self.because is not None and not self.because and needs_reason(found.questions))

    def _read_again(self) -> list[SheetRecord]:
        """The records of the files, which are let go before the whole shop is checked, for that takes room as well."""
        return read_files(self.files, timezone.localdate(self.at), Findings(), self.instructions).records

    def _occasion(self, prepared: Prepared) -> Occasion:
        key = f"upload:{self.upload.pk}" if self.upload else f"load:{uuid.uuid4().hex}"
        reason = f"loaded from {in_words([file.name for file in self.files], longest=2)}"
        if self.because:
            reason = f"{reason}; too little life left, accepted: {self.because}"
        return Occasion(self.by, self.at, prepared.today, key, reason[:500])
