"""Uploading lists: choose files, see what they would change, confirm."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.catalog.queries import read_settings
from kits.exchange.actions import say_it_is_meant, withdraw_upload
from kits.exchange.columns.catalog_layouts import ITEMS
from kits.exchange.columns.layouts import LAYOUTS, find_layout
from kits.exchange.files.file_guard import MOST_BYTES
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.models import WORKED_ON, Upload, UploadOrigin, UploadState
from kits.exchange.upload_workers import bring_in, confirm
from kits.exchange.uploads.outcome import outcome_from_json
from kits.exchange.uploads.sheet_doors import sheets_touched
from kits.exchange.uploads.upload_list import find_upload, list_recent_uploads, pasted_sheet, read_typed
from kits.exchange.uploads.upload_preview import upload_preview
from kits.people.models import User
from kits.people.sheet_rights import MAY_UPLOAD, sheets_of, sheets_refused, who_loads
from kits.web.forms.uploads import ROWS_OF, SHEETS_TO_PASTE, ListsForm


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_UPLOAD, raise_exception=True)
def upload_lists(request: HttpRequest) -> HttpResponse:
    """Choose files; they are checked and kept, and nothing is stored until the preview is confirmed."""
    person = cast(User, request.user)
    own = sheets_of(person)
    form = ListsForm(own, request.POST, request.FILES) if request.method == "POST" else ListsForm(own)
    if request.method == "POST" and form.is_valid():
        files = [SheetFile(file.name, file.read()) for file in form.cleaned_data["lists"]]
        replaced = form.cleaned_data["replaced"]
        kept = bring_in(files=files, by=person, at=timezone.now(), replaced=replaced)
        return redirect("upload_preview", upload=kept.pk)
    pasting = [(sheet.name, ROWS_OF[sheet.name]) for sheet in SHEETS_TO_PASTE if sheet.name in own]
    context = {"form": form, "may_load": own, "pasting": pasting, "uploads": list_recent_uploads(), "door": "schedule"}
    context["most_mb"] = MOST_BYTES // 2**20
    context["came_for"] = find_layout(request.GET.get("sheet", ""))
    return render(request, "web/upload.html", context, status=422 if form.errors else 200)


@require_safe
@permission_required(MAY_UPLOAD, raise_exception=True)
def show_upload(request: HttpRequest, upload: int) -> HttpResponse:
    """What an upload would change, or what is wrong with it."""
    kept = find_upload(upload)
    if kept is None:
        raise Http404(f"There is no upload {upload}.")
    if kept.state in WORKED_ON:
        return redirect("upload_progress", upload=upload)
    outcome = outcome_from_json(kept.outcome)
    preview = upload_preview(outcome, request.GET.get("show", ""), request.GET.get("sheet", ""))
    context = {"upload": kept, "outcome": outcome, "preview": preview, "door": "schedule"}
    context["problems"] = outcome.unsettled if kept.state == UploadState.REFUSED else outcome.problems
    context["pasted_sheet"] = pasted_sheet(kept)
    context["again"] = _field_of(kept)
    context["revised"] = read_typed(upload) if kept.origin == UploadOrigin.REVISED else None
    context["refused"] = _closed_to(cast(User, request.user), kept)
    context["lists"] = [sheet.name for sheet in LAYOUTS]
    names = [file.name for file in kept.files.all()]
    context["several_files"] = len(names) > 1 or ".zip" in "".join(names[:1]).lower()
    context["currency"] = read_settings().currency
    context["open"] = kept.state in (UploadState.CHECKED, UploadState.REFUSED)
    context["may_add_items"] = ITEMS.name in sheets_of(cast(User, request.user))
    return render(request, "web/upload_preview.html", context)


def _field_of(upload: Upload) -> str:
    """The address of the field into which it was pasted, with everything that was typed; empty for files."""
    if upload.origin in (UploadOrigin.FILES, UploadOrigin.CHANGED, UploadOrigin.SPLIT):
        return ""
    if upload.origin == UploadOrigin.REVISED:
        page = str(read_typed(upload.pk)["page"])
        return f"{page}{'&' if '?' in page else '?'}again={upload.pk}"
    if upload.origin == UploadOrigin.ENTERED:
        return f"{reverse('new_jobs')}?again={upload.pk}"
    sheet = pasted_sheet(upload)
    return f"{reverse('paste', args=[sheet]) if sheet else reverse('paste_indented')}?again={upload.pk}"


def _closed_to(person: User, upload: Upload) -> list[str]:
    """A sentence for each sheet of an upload that somebody may not load."""
    return [f"{sheet} {who_loads(sheet)}." for sheet in sheets_refused(person, sheets_touched(upload))]


@require_POST
@permission_required(MAY_UPLOAD, raise_exception=True)
def confirm_upload(request: HttpRequest, upload: int) -> HttpResponse:
    """Load a checked upload, or put it aside."""
    kept = get_object_or_404(Upload, pk=upload)
    person, now = cast(User, request.user), timezone.now()
    try:
        if "withdraw" in request.POST:
            withdraw_upload(upload=kept, by=person, at=now)
            messages.success(request, "The upload was put aside; nothing was changed.")
            return redirect("upload")
        if asked := request.POST.get("meant"):
            say_it_is_meant(upload=kept, asked=asked, by=person, because=request.POST.get("because", ""))
        outcome = confirm(upload=kept, by=person, at=now, shown=request.POST.get("shown", ""))
    except Refusal as error:
        messages.error(request, str(error))
        return redirect("upload_preview", upload=upload)
    if outcome is None:
        return redirect("upload_progress", upload=upload)
    if outcome.problems and kept.state != UploadState.REFUSED:
        messages.error(request, outcome.problems[0].reason)
    elif kept.state == UploadState.CHECKED and outcome.overtaken:
        messages.error(request, "Nothing is stored: somebody has changed what it would change since it was shown.")
    elif kept.state == UploadState.CHECKED:
        messages.error(request, "Nothing is stored yet: say that what is asked about is meant, or put it right.")
    elif not outcome.problems:
        messages.success(request, "The lists are loaded; every sheet is worked out from them now.")
    return redirect("upload_preview", upload=upload)
