"""Try a change of one job: before beside after; keep it or leave it."""

from __future__ import annotations

from dataclasses import asdict
from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from bom.errors import BomError, ShopError
from kits.catalog.days.doubts import doubts_now
from kits.catalog.queries import read_settings
from kits.people.models import User
from kits.picking.changes.actions import change_job, give_up_job
from kits.planning.questions.trial import TrialBoard, TrialJob
from kits.planning.sheets.jobs.sheet import find_job
from kits.planning.words.states import in_words
from kits.schedule.writes import Planned
from kits.web.forms.schedule.trial import KeepForm, TrialForm, kept_says, wanted
from kits.web.views.faults import needs_plan

MAY_CHANGE = "schedule.change_job"


@require_safe
@needs_plan
def show_trial(request: HttpRequest) -> HttpResponse:
    """Choose a job, say what is to be tried, see what it does; nothing is stored."""
    board, number = TrialBoard(), request.GET.get("job", "").strip()
    job = board.find(number)
    if job is None:
        return render_choice(request, board, number)
    asked = request.GET if set(TrialForm.base_fields).intersection(request.GET) else None
    return render_trial(request, board, TrialForm(job, doubts_now(board.as_of), asked))


@require_POST
@permission_required(MAY_CHANGE, raise_exception=True)
@needs_plan
def keep_trial(request: HttpRequest) -> HttpResponse:
    """Keep a change as it was tried."""
    board, keep = TrialBoard(), KeepForm(request.POST)
    number = request.POST.get("job", "")
    job, row = board.find(number), find_job(number)
    if keep.is_repeat("change", number):
        return redirect("job", job=number)
    if job is None or row is None:
        return render_choice(request, board, number)
    form = TrialForm(job, doubts_now(board.as_of), request.POST)
    if not form.is_valid() or not keep.is_valid() or keep.asks(form):
        return render_trial(request, board, form, keep, status=422)
    by, at = cast(User, request.user), timezone.now()
    seen, why = keep.seen, keep.cleaned_data["why"]
    try:
        key = keep.request_key("change", number)
        sheet = board.show(form.trial)
        if form.trial.drop:
            give_up_job(job=row, seen=seen, why=why, by=by, at=at, key=key)
        else:
            change_job(job=row, seen=seen, wanted=wanted(seen, form), why=why, by=by, at=at, key=key)
    except BomError as error:
        return render_trial(request, board, form, keep, refused=str(error), status=409)
    messages.success(request, kept_says(job, form.trial, board.as_of))
    if sheet.goes_back:
        messages.success(request, f"On the return list now: {in_words(sheet.goes_back)}.")
    return redirect("batch", batch=job.batch) if job.batch else redirect("job", job=job.job)


def render_choice(request: HttpRequest, board: TrialBoard, number: str) -> HttpResponse:
    """The page on which a job is chosen; ``number`` is what was asked for and is not planned."""
    batch = request.GET.get("batch", "").strip()
    context = {
        "jobs": board.jobs(batch),
        "number": number,
        "batch": batch,
        "as_of": board.as_of,
        "door": "schedule",
    }
    return render(request, "web/trial_choice.html", context, status=404 if number else 200)


def render_trial(
    request: HttpRequest,
    board: TrialBoard,
    form: TrialForm,
    keep: KeepForm | None = None,
    *,
    refused: str = "",
    status: int = 200,
) -> HttpResponse:
    """The page of one trial, with both plans side by side where something is tried."""
    sheet = None
    if form.is_bound and form.is_valid() and form.trial.changes_something:
        try:
            sheet = board.show(form.trial)
        except ShopError as error:
            refused = " ".join(fault.says for fault in error.faults)
            status = 409
    context = {
        "sheet": sheet,
        "job": form.job,
        "form": form,
        "keep": keep or seen_now(form.job),
        "refused": refused,
        "may_change": request.user.has_perm(MAY_CHANGE),
        "as_of": board.as_of,
        "currency": read_settings().currency,
        "door": "schedule",
    }
    return render(request, "web/trial.html", context, status=422 if form.errors else status)


def seen_now(job: TrialJob) -> KeepForm:
    """The form that keeps a change of a job as it stands now."""
    row = find_job(job.job)
    seen = asdict(Planned.of(row)) if row else {}
    return KeepForm(initial={f"seen_{name}": value for name, value in seen.items()})
