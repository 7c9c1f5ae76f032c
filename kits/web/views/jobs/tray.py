"""The tray sheet of a job."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.picking.tray import tray_sheet
from kits.planning.queries import plan_now
from kits.web.views.faults import needs_plan
from kits.web.views.jobs.sheet import job_or_404


@require_safe
@needs_plan
def show_tray(request: HttpRequest, job: str) -> HttpResponse:
    """Every opened assembly of one pump of a job, in the order in which it is put together."""
    asked = request.GET.get("pump", "1")[:6]
    sheet = tray_sheet(plan_now(), job_or_404(job), int(asked) if asked.isdecimal() else 1)
    shown = {"sheet": sheet, "job": sheet.job, "opens_all": "all" in request.GET}
    context = {**shown, "as_of": sheet.as_of, "door": "schedule"}
    return render(request, "web/jobs/tray.html", context)
