"""The sheet of one job."""

from __future__ import annotations

from typing import Any, cast

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.people.models import User
from kits.picking.changes.return_list import return_rows
from kits.picking.closing.failed_tests import failed_test_of
from kits.picking.closing.open_points import may_be_built
from kits.picking.job_lots import job_lots
from kits.picking.models import Bag
from kits.picking.sending.sent_list import sent_rows
from kits.planning.opening.gate import opening_shown
from kits.planning.queries import plan_now
from kits.planning.questions.rebuild_counts import first_day
from kits.planning.sheets.jobs.sheet import find_job, job_sheet
from kits.purchasing.outside.queries import of_job
from kits.schedule.change_list import changes_of
from kits.schedule.models import Job
from kits.schedule.stages import TO_BUILD
from kits.schedule.step_list import steps_of
from kits.schedule.words import Stage
from kits.service.quoting.queries import go_ahead_open
from kits.web.views.faults import needs_plan

MAY_ADD, MAY_REMOVE = "schedule.add_finding", "schedule.delete_finding"
BACK_SAYS = {"built": "Open the job again", "tested": "Not tested after all", "shipped": "Not shipped after all"}
TEST_BACK = "The test was passed after all, or never done"
MAY_DECIDE = "stock.add_concession"
MAY_SEND, MAY_TAKE_BACK = "picking.add_sentjob", "picking.change_sentjob"
MAY_PICK, MAY_STEP, MAY_LOOK = "picking.change_pickline", "schedule.change_job", "schedule.change_verdict"


@require_safe
@needs_plan
def show_job(request: HttpRequest, job: str) -> HttpResponse:
    """Where the parts of a job come from, its sections in assembly order, its strip report, the lots given to it."""
    return render_job(request, job_or_404(job))


@require_safe
@needs_plan
def show_sections(request: HttpRequest, job: str) -> HttpResponse:
    """The sections of a job in assembly order, and its kits against them."""
    sheet = job_sheet(plan_now(), job_or_404(job))
    return render(request, "web/job_sections.html", {"sheet": sheet, "as_of": sheet.as_of, "door": "schedule"})


def job_or_404(number: str) -> Job:
    """The job of this number."""
    found = find_job(number)
    if found is None:
        raise Http404(f"There is no job numbered “{number}”.")
    return found


def render_job(request: HttpRequest, job: Job, *, status: int = 200, **typed: Any) -> HttpResponse:
    """The sheet of a job; ``typed`` holds what was typed where it was refused."""
    plan = plan_now()
    sheet = job_sheet(plan, job)
    context = {
        "sheet": sheet,
        "first_day": first_day(plan, job.job),
        "lots": job_lots(job),
        "returns": return_rows(plan, job.job),
        "outside": of_job(job, sheet.as_of),
        "may_send_outside": request.user.has_perm("purchasing.add_outsidework"),
        "changes": changes_of(job),
        "sent": sent_rows(plan, job.job),
        "may_send": request.user.has_perm(MAY_SEND),
        "may_take_back_sent": request.user.has_perm(MAY_TAKE_BACK),
        "steps": steps_of(job),
        "go_ahead_says": go_ahead_open(job) if job.asks else "",
        "before_building": may_be_built(plan, job) if job.stage == Stage.STRIPPED else None,
        "stages": [(one.value, one.label.lower()) for one in TO_BUILD],
        "back_says": TEST_BACK if failed_test_of(job) else BACK_SAYS.get(job.stage, ""),
        "may_look": request.user.has_perm(MAY_LOOK),
        "bag_numbers": list(Bag.objects.filter(job=job).values_list("number", flat=True)),
        "may_post": request.user.has_perm("stock.add_posting"),
        "may_pick": request.user.has_perm(MAY_PICK),
        "may_decide": request.user.has_perm(MAY_DECIDE),
        "may_step": request.user.has_perm(MAY_STEP),
        "may_name": request.user.has_perm(MAY_ADD),
        "may_take_back": request.user.has_perm(MAY_REMOVE),
        "opening": opening_shown(plan, job, cast(User, request.user)) if job.asks else None,
        "as_of": sheet.as_of,
        "door": "schedule",
        **typed,
    }
    return render(request, "web/job.html", context, status=status)
