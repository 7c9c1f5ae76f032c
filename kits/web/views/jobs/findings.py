"""Name what was found on a job, or take it back."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from kits.catalog.errors import Refusal
from kits.planning.queries import today
from kits.schedule.actions import add_finding, remove_finding
from kits.web.forms.findings import FindingForm
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.jobs.sheet import MAY_ADD, MAY_REMOVE, job_or_404


@require_POST
@permission_required(MAY_ADD, raise_exception=True)
def name_finding(request: HttpRequest, job: str) -> HttpResponse:
    """Name a finding on a job."""
    found, form = job_or_404(job), FindingForm(request.POST)
    try:
        if not form.is_valid():
            raise Refusal(" ".join(says for field in form.errors.values() for says in map(str, field)))
        add_finding(job=found, found_on=today(), **form.cleaned_data)
    except Refusal as error:
        messages.error(request, str(error))
    return redirect("job", job=found.job)


@require_POST
@permission_required(MAY_REMOVE, raise_exception=True)
def take_back_finding(request: HttpRequest, job: str) -> HttpResponse:
    """Take a finding off a job."""
    found, form = job_or_404(job), KeyForm(request.POST)
    finding, section = request.POST.get("finding", ""), request.POST.get("section", "")
    try:
        refuse_foreign(form)
        key = form.request_key("no finding", found.pk, finding, section)
        remove_finding(job=found, finding=finding, section=section, key=key)
    except Refusal as error:
        messages.error(request, str(error))
    return redirect("job", job=found.job)
