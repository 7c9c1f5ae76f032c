"""The schedule of batches and jobs."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.planning.queries import plan_now
from kits.planning.sheets.schedule import schedule_sheet
from kits.web.views.faults import needs_plan
from kits.web.views.upload import MAY_UPLOAD


@require_safe
@needs_plan
def show_schedule(request: HttpRequest) -> HttpResponse:
    """Every batch with its jobs."""
    sheet = schedule_sheet(plan_now())
    may_upload = request.user.has_perm(MAY_UPLOAD)
    context = {"sheet": sheet, "as_of": sheet.as_of, "door": "schedule", "may_upload": may_upload}
    return render(request, "web/schedule.html", context)
