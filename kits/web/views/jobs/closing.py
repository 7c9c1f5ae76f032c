"""The end of a job: its bag decided upon, and the steps that its pump goes until it leaves the shop."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from kits.catalog.errors import Refusal
from kits.people.models import User
from kits.picking.bags.actions import answer_about_pump, ask_about_pump
from kits.picking.closing.actions import begin_building, close_job, record_shipment, take_step_back
from kits.picking.closing.close_sheet import close_sheet
from kits.picking.errors import PickRefusal
from kits.picking.models import PumpQuestion
from kits.picking.words import PumpAnswer
from kits.planning.opening.gate import opening_gate
from kits.planning.queries import plan_now, today
from kits.schedule.actions import move_stage
from kits.schedule.models import Job
from kits.schedule.words import Stage
from kits.web.forms.closing import CloseForm, FoundInPumpForm, StageForm, StepForm
from kits.web.views.faults import needs_plan
from kits.web.views.jobs.sheet import MAY_STEP, job_or_404, render_job
from kits.web.views.picking import MAY_PICK

STEPS = ("move", "ship", "back")


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_PICK, raise_exception=True)
@needs_plan
def close(request: HttpRequest, job: str) -> HttpResponse:
    """Decide on what is left in a job's bag, and close its parts."""
    found, may_override = job_or_404(job), request.user.has_perm(MAY_STEP)
    sheet = close_sheet(plan_now(), found)
    form = CloseForm(sheet, request.POST or None)
    refused = ""
    if request.method == "POST" and form.is_valid():
        try:
            key = form.request_key("close", found.pk, sheet.shows)
            around: dict[str, Any] = {"by": cast(User, request.user), "at": timezone.now(), "key": key}
            if forgotten := form.forgotten():
                ask_about_pump(job=found, forgotten=forgotten, **around)
            else:
                why = form.cleaned_data["why"] if may_override else ""
                close_job(job=found, decisions=form.decisions(), why=why, **around)
            return redirect("close_job", job=found.job)
        except Refusal as error:
            refused = str(error)
    context = {"sheet": sheet, "form": form, "refused": refused, "may_override": may_override}
    context |= {"as_of": today(), "door": "picking"}
    return render(request, "web/picking/close.html", context, status=409 if refused else 422 if form.errors else 200)


@require_POST
@permission_required(MAY_PICK, raise_exception=True)
def answer(request: HttpRequest, question: int, job: str) -> HttpResponse:
    """Say what was found when somebody looked into the pump for pieces that may have been forgotten."""
    found = get_object_or_404(PumpQuestion.objects.select_related("lot__item"), pk=question, job=job_or_404(job))
    form = FoundInPumpForm(request.POST)
    try:
        if not form.is_valid():
            raise PickRefusal(next(iter(form.errors.values()))[0])
        around: dict[str, Any] = {"by": cast(User, request.user), "at": timezone.now()}
        key = form.request_key("pump", found.pk)
        said = answer_about_pump(question=found, answer=PumpAnswer(form.cleaned_data["answer"]), key=key, **around)
        messages.success(request, f"{found.lot}: {said.get_answer_display()}.")
    except Refusal as error:
        messages.error(request, str(error))
    return redirect("close_job", job=job)


@require_POST
@permission_required(MAY_STEP, raise_exception=True)
@needs_plan
def take_step(request: HttpRequest, step: str, job: str) -> HttpResponse:
    """Say how far a pump has come: where it is, that it was shipped, that the last step is taken back."""
    if step not in STEPS:
        raise Http404(f"There is no step “{step}”.")
    found = job_or_404(job)
    form = StageForm(request.POST) if step == "move" else StepForm(request.POST)
    if not form.is_valid():
        return render_job(request, found, step=step, step_form=form, status=422)
    try:
        messages.success(request, act(request, found, step, form))
    except Refusal as error:
        return render_job(request, found, step=step, step_form=form, refused=str(error), status=409)
    return redirect("job", job=found.job)


def act(request: HttpRequest, job: Job, step: str, form: StageForm | StepForm) -> str:
    """Take the step, and say what was done."""
    by, at, said = cast(User, request.user), timezone.now(), form.cleaned_data
    key = form.request_key(step, job.pk, said["seen"])
    if step == "move" and said["stage"] == Stage.BUILDING:
        made = begin_building(job=job, seen=said["seen"], why=said["says"], by=by, at=at, key=key)
    elif step == "move":
        gate = opening_gate(job, by)
        made = move_stage(job=job, seen=said["seen"], stage=said["stage"], gate=gate, by=by, at=at, key=key)
    elif step == "ship":
        made = record_shipment(job=job, says=said["says"], by=by, at=at, key=key)
    else:
        made = take_step_back(job=job, seen=said["seen"], why=said["says"], by=by, at=at, key=key)
    return f"{job} is {made.get_after_display().lower()} now."
