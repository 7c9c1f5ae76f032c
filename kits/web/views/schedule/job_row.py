"""One row of the job list, opened as a form in its place: tried, then kept."""

from __future__ import annotations

from typing import cast
from urllib.parse import parse_qsl, urlencode

from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

import bom.values
from bom.errors import BomError, ShopError
from kits.catalog.queries import read_settings
from kits.exchange.columns.work_layouts import SCHEDULE
from kits.exchange.models import UploadOrigin
from kits.exchange.reading.changed_jobs import changed_file
from kits.people.models import User
from kits.people.sheet_rights import MAY_UPLOAD, require_sheets
from kits.planning.questions.trial import TrialBoard, TrialSheet
from kits.planning.sheets.jobs.sheet import find_job
from kits.schedule.models import Batch, Job
from kits.schedule.stages import is_done
from kits.web.forms.schedule.job_row import JobRowForm
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.faults import needs_plan
from kits.web.views.schedule.keeping import effect_says, go_to, keep_jobs, losers_of


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_UPLOAD, raise_exception=True)
@needs_plan
def edit_row(request: HttpRequest, job: str) -> HttpResponse:
    """Open the row, try what was typed, keep it: by one tap where nobody loses, else by a second one."""
    require_sheets(cast(User, request.user), [SCHEDULE.name])
    row = find_job(job)
    if row is None:
        raise Http404(f"There is no job {job}.")
    board = TrialBoard()
    planned = board.planned([row.job])[0]
    form = JobRowForm(
        planned,
        board.scopes_of([planned]),
        request.POST if request.method == "POST" else None,
        auto_id=f"job-{row.pk}-%s",
    )
    if is_done(row.stage):
        stands = f"{row.job} is {row.get_stage_display().lower()}, so nothing of it is planned"
        return _render(request, board, row, form, refused=f"{stands}: its page says what can be done.")
    if "store" in request.POST and KeyForm(request.POST).is_repeat(*_kind(request, row)):
        return go_to(request, _list_of(request, row))
    if not form.is_valid():
        return _render(request, board, row, form)
    sheet = None
    try:
        sheet = board.try_changed([form.wanted])
        if "store" in request.POST and (not sheet.losers or _is_anyway(request)):
            return _store(request, row, form, sheet)
    except ShopError as error:
        return _render(request, board, row, form, refused=" ".join(fault.says for fault in error.faults))
    except BomError as error:
        return _render(request, board, row, form, sheet=sheet, refused=str(error))
    return _render(request, board, row, form, sheet=sheet)


def _store(request: HttpRequest, row: Job, form: JobRowForm, sheet: TrialSheet) -> HttpResponse:
    key = KeyForm(request.POST)
    refuse_foreign(key)
    shows = _shows(form.job, form, sheet if _is_anyway(request) else None)
    return keep_jobs(
        request,
        changed_file([form.wanted], form.cleaned_data["why"]),
        UploadOrigin.CHANGED,
        key=key.request_key(*_kind(request, row), shows),
        says=f"{row.job} is changed. {effect_says(sheet)}",
        then=_list_of(request, row),
        why=form.cleaned_data["why"],
    )


def _is_anyway(request: HttpRequest) -> bool:
    return request.POST.get("store") == "anyway"


def _kind(request: HttpRequest, row: Job) -> tuple[str, int]:
    return ("job row anyway" if _is_anyway(request) else "job row"), row.pk


def _shows(job: bom.values.Job, form: JobRowForm, sheet: TrialSheet | None) -> tuple[object, ...]:
    """The job as it stands; of a change that others pay for, also what was typed and what they pay."""
    stands = [str(getattr(job, name)) for name in form.fields if name != "why"]
    typed = [str(form.data.get(name, "")) for name in form.fields if name != "why"]
    return (stands, typed, losers_of(sheet)) if sheet else (stands,)


def _list_of(request: HttpRequest, row: Job) -> str:
    """The list as it was narrowed and sorted, at this row."""
    asked = urlencode(parse_qsl(request.POST.get("list", "")))
    return f"{reverse('jobs')}{'?' if asked else ''}{asked}#job-{row.pk}"


def _render(
    request: HttpRequest,
    board: TrialBoard,
    row: Job,
    form: JobRowForm,
    *,
    sheet: TrialSheet | None = None,
    refused: str = "",
) -> HttpResponse:
    pays = sheet if sheet and sheet.losers else None
    asked = request.POST.get("list", "") if request.method == "POST" else request.GET.urlencode()
    is_sent = request.method == "POST"
    status = 422 if form.errors else 409 if refused and is_sent else 200
    context = {
        "form": form,
        "row": row,
        "sheet": sheet,
        "kind": "job row anyway" if pays else "job row",
        "shows": _shows(form.job, form, pays),
        "refused": refused,
        "closed": is_done(row.stage),
        "list": asked,
        "apart": f"-{row.pk}",
        "batches": list(Batch.objects.values_list("name", flat=True)),
        "as_of": board.as_of,
        "currency": read_settings().currency,
        "door": "schedule",
    }
    return render(request, "web/schedule/job_row.html", context, status=status)
