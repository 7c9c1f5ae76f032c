"""What was brought in before: the list, taking an upload back, and saying what its strange headings mean."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.exchange.actions import choose_headings
from kits.exchange.models import Upload
from kits.exchange.reading.asking.strange_headings import choices_from_form
from kits.exchange.undo.actions import undo_upload
from kits.exchange.uploads.outcome import outcome_from_json
from kits.exchange.uploads.sheet_doors import require_handling
from kits.exchange.uploads.upload_list import list_uploads
from kits.people.models import User
from kits.people.sheet_rights import MAY_UPLOAD
from kits.web.page_number import page_number

UPLOADS_PER_PAGE = 50


@require_safe
@permission_required(MAY_UPLOAD, raise_exception=True)
def show_history(request: HttpRequest) -> HttpResponse:
    """Every upload: who brought what in when, what came of it, who loaded it and who took it back."""
    page = Paginator(list_uploads(), UPLOADS_PER_PAGE).get_page(page_number(request))
    return render(
        request, "web/uploads/history.html", {"page": page, "uploads": list(page.object_list), "door": "schedule"}
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
