"""A job of several equal pumps split into one job for each serial number: tried, then stored in one step."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

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
from kits.exchange.reading.split_job import proposed_numbers, split_file
from kits.people.models import User
from kits.people.sheet_rights import MAY_UPLOAD, require_sheets
from kits.picking.changes.actions import refuse_open_lines
from kits.planning.questions.splitting import refuse_lost_pieces, refuse_lost_verdicts, try_split
from kits.planning.questions.trial import TrialBoard, TrialSheet
from kits.planning.sheets.jobs.sheet import find_job
from kits.planning.words.states import in_words, plural
from kits.schedule.models import Job
from kits.schedule.stages import TO_BUILD
from kits.schedule.words import Stage
from kits.web.forms.schedule.split import SplitForm
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.faults import needs_plan
from kits.web.views.schedule.keeping import effect_says, go_to, keep_jobs, losers_of


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_UPLOAD, raise_exception=True)
@needs_plan
def split_job(request: HttpRequest, job: str) -> HttpResponse:
    """Give each pump its number, see both plans, split the job."""
    require_sheets(cast(User, request.user), [SCHEDULE.name])
    row = find_job(job)
    if row is None:
        raise Http404(f"There is no job {job}.")
    if "store" in request.POST and KeyForm(request.POST).is_repeat("split", row.pk):
        return go_to(request, _list_of(row))
    board = TrialBoard()
    planned = board.planned([row.job])[0]
    typed = request.POST if request.method == "POST" else None
    form = SplitForm(proposed_numbers(row), row.serial, typed)
    if refused := _refused(row, planned):
        return _render(request, board, row, form, refused=refused, closed=True)
    if not form.is_valid():
        return _render(request, board, row, form)
    sheet = None
    try:
        refuse_open_lines(row, "split")
        refuse_lost_verdicts(board.plan.shop, planned)
        sheet = try_split(board.plan, _split(planned, form))
        refuse_lost_pieces(planned, sheet)
        if "store" in request.POST:
            return _store(request, row, form, sheet)
    except ShopError as error:
        return _render(request, board, row, form, refused=" ".join(fault.says for fault in error.faults))
    except BomError as error:
        return _render(request, board, row, form, sheet=sheet, refused=str(error))
    return _render(request, board, row, form, sheet=sheet)


def _refused(row: Job, planned: bom.values.Job) -> str:
    if row.stage not in (*TO_BUILD, Stage.HELD):
        return f"{row.job} is {row.get_stage_display().lower()}, so there is nothing to split: look at its page."
    if planned.quantity < 2:
        return f"{row.job} is one pump, so there is nothing to split."
    return ""


def _split(planned: bom.values.Job, form: SplitForm) -> list[bom.values.Job]:
    return [replace(planned, job=number, quantity=1, serial=serial) for number, serial in form.pumps]


def _store(request: HttpRequest, row: Job, form: SplitForm, sheet: TrialSheet) -> HttpResponse:
    key = KeyForm(request.POST)
    refuse_foreign(key)
    numbers = [number for number, _ in form.pumps]
    return keep_jobs(
        request,
        split_file(row, form.pumps),
        UploadOrigin.SPLIT,
        key=key.request_key("split", row.pk, _shows(row, form, sheet)),
        says=f"{row.job} is {plural(len(numbers), 'job')} now: {in_words(numbers)}. {effect_says(sheet)}",
        then=_list_of(row),
        why=form.cleaned_data["why"],
        typed={"numbers": "\n".join(numbers)},
    )


def _list_of(row: Job) -> str:
    return f"{reverse('jobs')}#job-{row.pk}"


def _shows(row: Job, form: SplitForm, sheet: TrialSheet) -> list[object]:
    """The job as it stands, what was typed, and who loses by it."""
    stands = [
        row.quantity,
        row.stage,
        str(row.build_on),
        row.scope,
        row.option,
        row.batch_id,
        row.priority,
        row.customer,
    ]
    return [*stands, [list(pump) for pump in form.pumps], losers_of(sheet)]


def _render(
    request: HttpRequest,
    board: TrialBoard,
    row: Job,
    form: SplitForm,
    *,
    sheet: TrialSheet | None = None,
    refused: str = "",
    closed: bool = False,
) -> HttpResponse:
    is_sent = request.method == "POST"
    status = 422 if form.errors else 409 if refused and is_sent else 200
    context = {
        "form": form,
        "row": row,
        "sheet": sheet,
        "shows": _shows(row, form, sheet) if sheet else [],
        "may_keep": sheet is not None and not sheet.goes_back,
        "refused": refused,
        "closed": closed,
        "as_of": board.as_of,
        "currency": read_settings().currency,
        "door": "schedule",
    }
    return render(request, "web/schedule/split.html", context, status=status)
