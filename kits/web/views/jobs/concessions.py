"""What the service lead decides on lots under suspicion that a job holds."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from kits.catalog.errors import Refusal
from kits.people.models import User
from kits.stock.models import Concession, Suspicion
from kits.stock.suspects.actions import concede, take_concession_back
from kits.web.forms.closing import ConcedeForm
from kits.web.forms.kits import ReasonForm
from kits.web.request_keys import KeyForm
from kits.web.views.faults import needs_plan
from kits.web.views.jobs.sheet import MAY_DECIDE, job_or_404, render_job


@require_POST
@permission_required(MAY_DECIDE, raise_exception=True)
@needs_plan
def let_job_have(request: HttpRequest, job: str) -> HttpResponse:
    """Let a lot under suspicion go into the pump of a job."""
    found, form = job_or_404(job), ConcedeForm(request.POST)
    if not form.is_valid():
        return render_job(request, found, conceding=form, refused=form_says(form), status=422)
    suspicion = get_object_or_404(Suspicion, pk=form.cleaned_data["suspicion"])
    try:
        concede(
            suspicion=suspicion,
            job=found,
            reason=form.cleaned_data["reason"],
            by=cast(User, request.user),
            at=timezone.now(),
            key=form.request_key("concede", found.pk, suspicion.pk),
        )
    except Refusal as error:
        return render_job(request, found, conceding=form, refused=str(error), status=409)
    messages.success(request, f"{found} may have {suspicion.lot}; it stays frozen everywhere else.")
    return redirect("job", job=found.job)


@require_POST
@permission_required(MAY_DECIDE, raise_exception=True)
@needs_plan
def take_back(request: HttpRequest, concession: int) -> HttpResponse:
    """Take such a decision back."""
    found = get_object_or_404(Concession.objects.select_related("job", "suspicion__lot__item"), pk=concession)
    form = ReasonForm(request.POST)
    job = job_or_404(found.job.job)
    if not form.is_valid():
        return render_job(request, job, refused=form_says(form), status=422)
    try:
        key = form.request_key("take back", found.pk)
        reason, by, at = form.cleaned_data["reason"], cast(User, request.user), timezone.now()
        take_concession_back(concession=found, reason=reason, by=by, at=at, key=key)
    except Refusal as error:
        return render_job(request, job, refused=str(error), status=409)
    messages.success(request, f"{job} may not have {found.suspicion.lot} any more.")
    return redirect("job", job=job.job)


def form_says(form: KeyForm) -> str:
    """What is wrong with a form, as one text."""
    return " ".join(str(error) for errors in form.errors.values() for error in errors)
