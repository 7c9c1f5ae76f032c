"""Today's sheet."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.planning.sheets.today import today_sheet
from kits.web.views.faults import needs_plan
from kits.web.views.plan.shown import plan_shown


@require_safe
@needs_plan
def show_today(request: HttpRequest) -> HttpResponse:
    """What needs somebody now."""
    plan, being_renewed = plan_shown(request)
    sheet = today_sheet(plan)
    context = {"sheet": sheet, "as_of": sheet.as_of, "door": "today", "being_renewed": being_renewed}
    return render(request, "web/today.html", context)
