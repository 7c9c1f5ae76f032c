"""The sheet of one job."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.planning.job_sheet import find_job, job_sheet
from kits.planning.queries import plan_now
from kits.web.views.faults import needs_plan


@require_safe
@needs_plan
def show_job(request: HttpRequest, job: str) -> HttpResponse:
    """Where the parts of a job come from, its sections in assembly order, its strip report."""
    found = find_job(job)
    if found is None:
        raise Http404(f"There is no job numbered “{job}”.")
    sheet = job_sheet(plan_now(), found)
    return render(request, "web/job.html", {"sheet": sheet, "as_of": sheet.as_of, "door": "schedule"})
