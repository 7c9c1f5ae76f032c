"""What was brought in before: the list, taking an upload back, and saying what its strange headings mean."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from kits.catalog.caching.late_rows import QueryFacts
from kits.catalog.errors import Refusal
from kits.exchange.actions import choose_headings
from kits.exchange.models import Upload
from kits.exchange.reading.asking.strange_headings import choices_from_form
from kits.exchange.undo.actions import undo_upload
from kits.exchange.uploads.outcome import outcome_from_json
from kits.exchange.uploads.sheet_doors import require_handling
from kits.exchange.uploads.upload_list import list_uploads
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.people.sheet_rights import MAY_UPLOAD
from kits.web.lists import list_answer, shown_list

COLUMNS: tuple[ListColumn[Upload], ...] = (
    ListColumn("number", "Number", lambda row: row.pk, figure=True),
    ListColumn("files", "Files", lambda row: str(row)),
    ListColumn("by", "Brought in by", lambda row: row.brought_by),
    ListColumn("at", "Brought in", lambda row: row.at),
    ListColumn("state", "State", lambda row: row.get_state_display().lower()),
    ListColumn("result", "What came of it", lambda row: row.result),
    ListColumn("settled", "Settled by", lambda row: row.settled_by),
)


@require_safe
@permission_required(MAY_UPLOAD, raise_exception=True)
def show_history(request: HttpRequest) -> HttpResponse:
    """Every upload: who brought what in when, what came of it, who loaded it and who took it back."""
    uploads = QueryFacts(list_uploads())
    if file := list_answer(request, "All uploads", COLUMNS, uploads):
        return file
    return render(
        request, "web/uploads/history.html", {"list": shown_list(request, COLUMNS, uploads), "door": "schedule"}
    )


@require_POST
@permission_required(MAY_UPLOAD, raise_exception=True)
def undo(request: HttpRequest, upload: int) -> HttpResponse:
    """Take a loaded upload back."""
    kept = get_object_or_404(Upload, pk=upload)
    try:
        undo_upload(upload=kept, by=cast(User, request.user), at=timezone.now())
        messages.success(request, f"Upload {upload} was taken back: every row it touched is as it was before.")
    except Refusal as error:
        messages.error(request, str(error))
    return redirect("upload_preview", upload=upload)


@require_POST
@permission_required(MAY_UPLOAD, raise_exception=True)
def choose(request: HttpRequest, upload: int) -> HttpResponse:
    """Say what strange headings mean; the files are read again with it."""
    kept, person = get_object_or_404(Upload, pk=upload), cast(User, request.user)
    require_handling(kept, person)
    try:
        choices = choices_from_form(outcome_from_json(kept.outcome).strange, request.POST)
        choose_headings(upload=kept, choices=choices, by=person, at=timezone.now())
        messages.success(request, "The files were read again with these headings, which are remembered for you.")
    except Refusal as error:
        messages.error(request, str(error))
    return redirect("upload_preview", upload=upload)
