"""The sheet of one job."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.picking.job_lots import job_lots
from kits.planning.queries import plan_now
from kits.planning.questions.rebuild_counts import first_day
from kits.planning.sheets.job import find_job, job_sheet
from kits.schedule.change_list import changes_of
from kits.web.views.faults import needs_plan
from kits.web.views.findings import MAY_ADD, MAY_REMOVE
from kits.web.views.picking import MAY_PICK


@require_safe
@needs_plan
def show_job(request: HttpRequest, job: str) -> HttpResponse:
    """Where the parts of a job come from, its sections in assembly order, its strip report, the lots given to it."""
    found = find_job(job)
    if found is None:
        raise Http404(f"There is no job numbered “{job}”.")
    plan = plan_now()
    sheet = job_sheet(plan, found)
    context = {
        "sheet": sheet,
        "first_day": first_day(plan, found.job),
        "lots": job_lots(found),
        "changes": changes_of(found),
        "may_pick": request.user.has_perm(MAY_PICK),
        "may_name": request.user.has_perm(MAY_ADD),
        "may_take_back": request.user.has_perm(MAY_REMOVE),
        "as_of": sheet.as_of,
        "door": "schedule",
    }
    return render(request, "web/job.html", context)
