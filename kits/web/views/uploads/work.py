"""An upload while it is worked on: how far it is, and taking it up when it was left half done."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.exchange.models import WORKED_ON, Upload
from kits.exchange.upload_workers import progress_of, take_up
from kits.exchange.uploads.upload_list import find_upload
from kits.people.models import User
from kits.people.sheet_rights import MAY_UPLOAD

STEPS = (
    "The steps: open the sheets, read their cells, check rows against each other, compare with what is stored, check "
    "the whole shop as it would be. A list of 100 000 rows takes about a minute."
)


@require_safe
@permission_required(MAY_UPLOAD, raise_exception=True)
def show_progress(request: HttpRequest, upload: int) -> HttpResponse:
    """How far an upload is; when the work is done, its preview instead."""
    kept = find_upload(upload)
    if kept is None:
        raise Http404(f"There is no upload {upload}.")
    progress = progress_of(kept)
    if progress is None:  # it may have been finished between the two looks
        kept.refresh_from_db(fields=["state"])
    if kept.state not in WORKED_ON:
        if getattr(request, "htmx", False):
            return HttpResponse(headers={"HX-Refresh": "true"})
        return redirect("upload_preview", upload=upload)
    context = {"upload": kept, "progress": progress, "says": STEPS, "door": "schedule"}
    return render(request, "web/upload_work.html", context)


@require_POST
@permission_required(MAY_UPLOAD, raise_exception=True)
def take_up_again(request: HttpRequest, upload: int) -> HttpResponse:
    """Check an upload from the beginning that was left half done."""
    try:
        take_up(upload=get_object_or_404(Upload, pk=upload), by=cast(User, request.user), at=timezone.now())
    except Refusal as error:
        messages.error(request, str(error))
    return redirect("upload_preview", upload=upload)
