"""Write the strip report of a job, section by section."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from kits.catalog.errors import Refusal
from kits.people.models import User
from kits.planning.queries import plan_now, today
from kits.planning.sheets.jobs.sheet import job_sheet
from kits.planning.sheets.jobs.strip_report import StripSection
from kits.planning.words.states import plural
from kits.schedule.actions import write_strip_report
from kits.schedule.models import Job
from kits.web.forms.strip_report import StripForm
from kits.web.views.faults import needs_plan
from kits.web.views.jobs.sheet import MAY_LOOK, job_or_404, render_job

NO_SECTION = "{} has changed meanwhile and has no such section any more: look at its strip report again."


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_LOOK, raise_exception=True)
@needs_plan
def strip_section(request: HttpRequest, job: str) -> HttpResponse:
    """One section of the strip report of a job: its form, or what was written on it."""
    found = job_or_404(job)
    return write_section(request, found) if request.method == "POST" else show_section(request, found)


def show_section(request: HttpRequest, job: Job) -> HttpResponse:
    """The form of one section; the first where none is named."""
    sections, named = job_sheet(plan_now(), job).strip.sections, request.GET.get("section")
    section = next((one for one in sections if named in (None, one.key)), None)
    if section is None:
        return render_job(request, job, refused=NO_SECTION.format(job), status=404)
    context = {"job": job, "section": section, "form": StripForm(section), "as_of": today(), "door": "schedule"}
    return render(request, "web/strip_section.html", context)


def write_section(request: HttpRequest, found: Job) -> HttpResponse:
    """Give the verdicts of one section as they stand on its form, or call all the rest of it good."""
    section = section_now(found, request.POST.get("section", ""))
    if section is None:
        return render_job(request, found, refused=NO_SECTION.format(found), status=409)
    form = StripForm(section, request.POST)
    if not form.is_valid():
        return render_job(request, found, strip_form=form, status=422)
    try:
        changed = write_strip_report(
            job=found,
            looks=form.looks(rest_is_good="rest" in request.POST),
            by=cast(User, request.user),
            at=timezone.now(),
            key=form.request_key("strip", found.pk, section.key),
        )
    except Refusal as error:
        now = section_now(found, section.key)
        return render_job(request, found, strip_form=form.beside(now) if now else None, refused=str(error), status=409)
    messages.success(request, f"{section.name}: {plural(changed, 'verdict') if changed else 'nothing new'} written.")
    return redirect(f"{reverse('job', args=[found.job])}#strip-{section.key}")


def section_now(job: Job, key: str) -> StripSection | None:
    """The section of a job with this key, as its strip report stands now."""
    return next((section for section in job_sheet(plan_now(), job).strip.sections if section.key == key), None)
