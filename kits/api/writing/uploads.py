"""Lists brought in: checked and loaded by the same loader as on the pages, all or nothing, and taken back."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import Annotated, Any

from django.http import HttpRequest
from django.utils import timezone
from ninja import Field, File, Path, Query, Router, Schema, Status
from ninja.files import UploadedFile

from kits.api.door import person_of, require_any_list, require_lists, require_scopes_of
from kits.api.kept_lists import read_list_now
from kits.api.marks import expected_tags
from kits.api.problems import ApiRefusal
from kits.api.reading.lists import ListName, layout_of
from kits.api.reading.lists import router as lists_router
from kits.api.refusals import REFUSALS, REFUSALS_OF_CHANGES
from kits.api.writing.keys import RequestKey, request_key
from kits.exchange.actions import keep_upload, load_upload, say_it_is_meant, withdraw_upload
from kits.exchange.columns.sheet_text import quote_formula, text_name
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.models import Upload, UploadState
from kits.exchange.problems.findings import Findings
from kits.exchange.problems.findings import Problem as SheetProblem
from kits.exchange.problems.row_changes import CHANGED, NEW, SAME
from kits.exchange.undo.actions import undo_upload
from kits.exchange.uploads.heading_memory import recall_instructions
from kits.exchange.uploads.outcome import outcome_from_json
from kits.exchange.uploads.preparing import read_files
from kits.exchange.uploads.sheet_doors import require_handling, sheets_touched
from kits.exchange.uploads.stored_once import Overtaken, kept_under
from kits.people.models import User
from kits.planning.words.states import in_words

router = Router(tags=["Lists brought in"])
MOST_ROWS, MOST_COLUMNS = 5000, 200
TOO_WIDE = f"rows: they name more than {MOST_COLUMNS} columns: /api/v1/lists names the columns of each list."
IF_AS_READ = "if_as_read"
CHANGED_MEANWHILE = (
    "The list {} has changed since it was read, so nothing was stored: read it again, then send it again."
)
NOT_AS_CHECKED = (
    "Upload {} would change something else by now than when it was checked, so nothing was stored: look at it again, "
    "then load it again."
)
Heading = Annotated[str, Field(min_length=1, max_length=100)]
# A whole number stays exact as far as it is long; a longer one is no number of a list, and is not rounded to one.
Whole = Annotated[int, Field(ge=-(10**40), le=10**40)]
NotWhole = Annotated[float, Field(ge=-1e40, le=1e40, allow_inf_nan=False)]
SentCell = Annotated[str, Field(max_length=2000)] | Whole | NotWhole | bool | None
SentRow = Annotated[dict[Heading, SentCell], Field(max_length=MOST_COLUMNS)]
LoadIt = Annotated[bool, Query(description="Store it at once, if nothing is wrong with it and nothing is asked.")]
UploadNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]


class RowsSent(Schema):
    """Rows of a list, by the names of its columns. With ``replace`` entries that no row names are removed."""

    rows: Annotated[list[SentRow], Field(min_length=1, max_length=MOST_ROWS)]
    replace: bool = False


class LoadSaid(Schema):
    """That what is asked is meant: ``asked`` of the upload, and why where it takes a reason.

    With ``shows`` of the upload it is loaded only if it still does what was read there.
    """

    shows: Annotated[str, Field(max_length=64)] = ""
    asked: Annotated[str, Field(max_length=64)] = ""
    because: Annotated[str, Field(max_length=300)] = ""


class SheetCounts(Schema):
    """What an upload does, or did, to one list."""

    name: str
    new: int
    changed: int
    same: int
    removed: list[str]


class UploadFacts(Schema):
    """An upload: whether it waits, was refused, is loaded, was taken back; what is wrong with it, what is asked."""

    upload: int
    state: str
    says: str
    lists: list[SheetCounts]
    problems: list[dict[str, Any]]
    questions: list[dict[str, Any]]
    remarks: list[str]
    asked: str
    needs_reason: bool
    shows: str


SENT: dict[Any, Any] = {201: UploadFacts, **REFUSALS_OF_CHANGES}
ANSWERS: dict[Any, Any] = {200: UploadFacts, **REFUSALS_OF_CHANGES}


@lists_router.post("/lists/{name}", response=SENT)
def send_rows(request: HttpRequest, name: ListName, sent: RowsSent, key: RequestKey, load: LoadIt = False) -> Any:
    """Check rows of one list, and load them if asked to. With If-Match only if the list is as it was read."""
    layout = layout_of(name)
    require_lists(request, [layout.name])
    tags = expected_tags(request)
    file = SheetFile(text_name(layout), _as_text(sent.rows))
    key = request_key(request, "rows", key, [layout.name, load, sent.dict(), tags])
    upload = kept_under(key)
    if upload is None or upload.state == UploadState.CHECKED:
        _refuse_changed([layout.name], tags)
    if upload is None:
        replaced = [layout.name] if sent.replace else []
        upload = _keep(request, [file], replaced, key, tags)
    return _go_on(upload, person_of(request), load)


@router.post("/uploads", response=SENT)
def send_files(
    request: HttpRequest,
    files: Annotated[list[UploadedFile], File(min_length=1)],
    key: RequestKey,
    load: LoadIt = False,
) -> Any:
    """Check workbooks or texts as they lie in files, and load them if asked to.

    With If-Match only if each of their lists is as it was read: it names the tag of every one.
    """
    require_any_list(request)
    tags = expected_tags(request)
    found = [SheetFile(file.name or "list", file.read()) for file in files]
    said = [load, [(file.name, file.digest) for file in found], *tags]
    key = request_key(request, "files", key, said)
    upload = kept_under(key)
    if tags and (upload is None or upload.state == UploadState.CHECKED):
        _refuse_changed(_lists_of(found, request), tags)
    if upload is None:
        upload = _keep(request, found, [], key, tags)
    if load:
        require_lists(request, sheets_touched(upload))
    return _go_on(upload, person_of(request), load)


@router.get("/uploads/{upload}", response={200: UploadFacts, **REFUSALS})
def read_upload(request: HttpRequest, upload: UploadNumber) -> Any:
    """What came of an upload."""
    require_any_list(request)
    return _facts(_find(upload))


@router.post("/uploads/{upload}/load", response=ANSWERS)
def load(request: HttpRequest, upload: UploadNumber, said: LoadSaid) -> Any:
    """Load what was checked. Sent again, it answers the same and loads nothing twice."""
    require_any_list(request)
    kept = _find(upload)
    person = require_lists(request, sheets_touched(kept))
    if said.asked and kept.state == UploadState.CHECKED:
        say_it_is_meant(upload=kept, asked=said.asked, by=person, because=said.because)
    return _load(kept, person, said.shows)


@router.post("/uploads/{upload}/take-back", response=ANSWERS)
def take_back(request: HttpRequest, upload: UploadNumber) -> Any:
    """Put every row back as it was before; refused where somebody touched one since."""
    require_any_list(request)
    kept = _find(upload)
    person = require_lists(request, sheets_touched(kept))
    if kept.state != UploadState.UNDONE:
        undo_upload(upload=kept, by=person, at=timezone.now())
    return _facts(_find(upload))


@router.delete("/uploads/{upload}", response=ANSWERS)
def withdraw(request: HttpRequest, upload: UploadNumber) -> Any:
    """Put an upload aside that was not loaded."""
    require_any_list(request)
    kept, person = _find(upload), person_of(request)
    require_handling(kept, person)
    require_scopes_of(request, sheets_touched(kept))
    if kept.state != UploadState.WITHDRAWN:
        withdraw_upload(upload=kept, by=person, at=timezone.now())
    return _facts(_find(upload))


def _keep(request: HttpRequest, files: list[SheetFile], replaced: list[str], key: str, tags: list[str]) -> Upload:
    person, at, typed = person_of(request), timezone.now(), {IF_AS_READ: tags} if tags else {}
    return keep_upload(files=files, by=person, at=at, replaced=replaced, typed=typed, key=key)


def _go_on(upload: Upload, person: User, load: bool) -> Status[UploadFacts]:
    return Status(201, _load(upload, person) if load else _facts(upload))


def _load(upload: Upload, person: User, shown: str | None = None) -> UploadFacts:
    """Load an upload that waits; whatever keeps it from being stored is a refusal."""
    if upload.state == UploadState.CHECKED and not _unsaid(upload):
        try:
            done = load_upload(upload=upload, by=person, at=timezone.now(), still=_still(upload), shown=shown)
        except Overtaken as error:
            if _find(upload.pk).state != UploadState.LOADED:  # by the same request, sent twice at once
                changed = _changed(sheets_touched(upload), upload.typed[IF_AS_READ])
                raise ApiRefusal(412, CHANGED_MEANWHILE.format(in_words(changed))) from error
        else:
            if done.overtaken and _find(upload.pk).state == UploadState.CHECKED:
                raise ApiRefusal(412, NOT_AS_CHECKED.format(upload.pk))
        upload = _find(upload.pk)
    if upload.state == UploadState.LOADED:
        return _facts(upload)
    outcome = outcome_from_json(upload.outcome)
    where = f"Upload {upload.pk}"
    if upload.state == UploadState.REFUSED:
        first, more = outcome.problems[0], len(outcome.problems) - 1
        says = f"{_sentence(first)}{f' ({more} more below.)' if more else ''} Nothing was stored."
        raise ApiRefusal(422, f"{where}: {says}", [_problem(one) for one in outcome.problems])
    if upload.state == UploadState.CHECKED:
        says = (
            f"{where} waits: {_sentence(outcome.questions[0])} Say that it is meant: load it with its value of asked."
        )
        raise ApiRefusal(409, says, [_problem(one) for one in outcome.questions])
    raise ApiRefusal(409, f"{where} is {upload.state}, so it is not loaded: send the list again.")


def _unsaid(upload: Upload) -> bool:
    return outcome_from_json(upload.outcome).asked not in ("", upload.meant)


def _lists_of(files: list[SheetFile], request: HttpRequest) -> frozenset[str]:
    """The lists that files hold, as far as it can be told before they are checked."""
    instructions = recall_instructions(person_of(request))
    return read_files(files, timezone.localdate(), Findings(), instructions).filled


def _refuse_changed(names: Iterable[str], tags: list[str]) -> None:
    if tags and (changed := _changed(names, tags)):
        raise ApiRefusal(412, CHANGED_MEANWHILE.format(in_words(changed)))


def _changed(names: Iterable[str], tags: list[str]) -> list[str]:
    """Lists that are not as any of these tags says."""
    return [name for name in sorted(names) if read_list_now(layout_of(name)).tag not in tags]


def _still(upload: Upload) -> Callable[[], bool] | None:
    """Whether its lists are as they were read, if that was the condition under which they were sent."""
    tags = upload.typed.get(IF_AS_READ)
    return (lambda: not _changed(sheets_touched(upload), tags)) if tags else None


def _find(number: int) -> Upload:
    upload = Upload.objects.filter(pk=number).first()
    if upload is None:
        raise ApiRefusal(404, f"There is no upload {number}.")
    return upload


def _facts(upload: Upload) -> UploadFacts:
    outcome = outcome_from_json(upload.outcome)
    return UploadFacts(
        upload=upload.pk,
        state=upload.state,
        says=upload.result,
        lists=[
            SheetCounts(
                name=one.sheet,
                new=one.count(NEW),
                changed=one.count(CHANGED),
                same=one.count(SAME),
                removed=list(one.removed),
            )
            for one in outcome.sheets
        ],
        problems=[_problem(one) for one in outcome.problems],
        questions=[_problem(one) for one in outcome.questions],
        remarks=[one.says for one in outcome.remarks],
        asked=outcome.asked,
        needs_reason=outcome.needs_reason,
        shows=upload.outcome.get("does", ""),
    )


def _problem(one: SheetProblem) -> dict[str, Any]:
    where = {"list": one.sheet, "row": one.row, "column": one.column, "value": one.value}
    return {**where, "reason": one.reason, "remedy": one.remedy}


def _sentence(one: SheetProblem) -> str:
    where = one.where
    says = f"{where}: {one.reason}" if where else one.reason
    return f"{says}: {one.remedy}.".replace("..", ".")


def _as_text(rows: list[dict[str, Any]]) -> bytes:
    """Rows as the text of a list, which the loader reads as any other."""
    headings = list(dict.fromkeys(name for row in rows for name in row))
    if len(headings) > MOST_COLUMNS:
        raise ApiRefusal(422, TOO_WIDE)
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([quote_formula(name) for name in headings])
    for row in rows:
        writer.writerow([_as_cell(row.get(name)) for name in headings])
    return out.getvalue().encode()


def _as_cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return f"{Decimal(str(value)):f}".removesuffix(".0")
    return quote_formula(str(value))
