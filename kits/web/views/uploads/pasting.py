"""Lists pasted into a field: cells of a spreadsheet, and indented lists of what holds what."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from kits.catalog.errors import Refusal
from kits.exchange.actions import keep_upload
from kits.exchange.columns.catalog_layouts import STRUCTURE
from kits.exchange.columns.layouts import find_layout
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.models import UploadOrigin
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.indented_list import indented_file
from kits.exchange.reading.pasted import ParentMissing, pasted_file
from kits.exchange.uploads.file_cells import cells_to_paste
from kits.exchange.uploads.upload_list import read_typed
from kits.people.models import User
from kits.people.sheet_rights import MAY_UPLOAD, require_sheets
from kits.web.forms.uploads import ROWS_OF, SHEETS_TO_PASTE, IndentedForm, PasteForm


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_UPLOAD, raise_exception=True)
def paste_cells(request: HttpRequest, sheet: str) -> HttpResponse:
    """Cells pasted from a spreadsheet: they are checked like an uploaded file, and confirmed on its preview."""
    found = find_layout(sheet)
    if found is None or found not in SHEETS_TO_PASTE:
        raise Http404(f"Cells for a sheet {sheet} are not pasted: upload them as a file.")
    require_sheets(cast(User, request.user), [found.name])
    form = PasteForm(request.POST or None, initial={"parent": request.GET.get("parent", ""), **_again(request)})

    def read(findings: Findings) -> SheetFile:
        given = {"parent": form.cleaned_data["parent"].strip()} if found is STRUCTURE else {}
        return pasted_file(form.cleaned_data["cells"], found, given, findings)

    context = {"form": form, "sheet": found, "usual": found.pasted, "asks_parent": found is STRUCTURE}
    context["rows"] = ROWS_OF[found.name]
    return _answer(request, form, read, UploadOrigin.PASTED, "web/uploads/paste.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_UPLOAD, raise_exception=True)
def paste_indented(request: HttpRequest) -> HttpResponse:
    """An indented list of what holds what: it becomes rows of Structure, and is confirmed on their preview."""
    require_sheets(cast(User, request.user), [STRUCTURE.name])
    taken = _taken_from_file(request) if request.method != "POST" else ""
    initial = {"parent": request.GET.get("parent", ""), "cells": taken, **_again(request)}
    form = IndentedForm(request.POST or None, initial=initial)

    def read(findings: Findings) -> SheetFile:
        return indented_file(form.cleaned_data["cells"], form.reading(), findings)

    context = {"form": form, "taken": bool(taken)}
    return _answer(request, form, read, UploadOrigin.INDENTED, "web/uploads/indented.html", context)


def _taken_from_file(request: HttpRequest) -> str:
    """The text of a sheet that was uploaded and is to be read as an indented list."""
    number, place = request.GET.get("from", ""), request.GET.get("place", "")
    if not all(text.isascii() and text.isdigit() and len(text) < 10 for text in (number, place)):
        return ""
    try:
        return cells_to_paste(int(number), int(place))
    except Refusal as error:
        messages.error(request, str(error))
        return ""


def _answer(
    request: HttpRequest,
    form: Form,
    read: Callable[[Findings], SheetFile],
    origin: UploadOrigin,
    template: str,
    context: dict[str, Any],
) -> HttpResponse:
    """Keep what was pasted and lead to its preview, or show the field again with what was typed and what is wrong."""
    if form.is_valid():
        findings = Findings()
        try:
            files = [read(findings)]
        except Refusal as error:
            form.add_error("parent" if isinstance(error, ParentMissing) else "cells", str(error))
        else:
            person, now = cast(User, request.user), timezone.now()
            typed = {name: str(value) for name, value in form.cleaned_data.items()}
            kept = keep_upload(files=files, by=person, at=now, origin=origin, typed=typed, findings=findings)
            return redirect("upload_preview", upload=kept.pk)
    return render(request, template, {**context, "door": "schedule"}, status=422 if form.errors else 200)


def _again(request: HttpRequest) -> dict[str, str]:
    """What was typed before, to be put right."""
    number = request.GET.get("again", "")
    return read_typed(int(number)) if number.isascii() and number.isdigit() and len(number) < 10 else {}
