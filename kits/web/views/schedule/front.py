"""The schedule of batches and jobs."""

from __future__ import annotations

from typing import cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.people.models import User
from kits.people.sheet_rights import sheets_of
from kits.planning.sheets.schedule import schedule_sheet
from kits.web.page_number import page_number
from kits.web.views.faults import needs_plan
from kits.web.views.plan.shown import plan_shown


@require_safe
@needs_plan
def show_schedule(request: HttpRequest) -> HttpResponse:
    """Every batch with its jobs."""
    plan, being_renewed = plan_shown(request)
    sheet = schedule_sheet(plan, page_number(request))
    context = {
        "sheet": sheet,
        "as_of": sheet.as_of,
        "door": "schedule",
        "being_renewed": being_renewed,
        "may_load": sheets_of(cast(User, request.user)),
    }
    return render(request, "web/schedule.html", context)
