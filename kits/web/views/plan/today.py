"""Today's sheet."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.planning.queries import plan_now
from kits.planning.sheets.today import today_sheet
from kits.web.views.faults import needs_plan


@require_safe
@needs_plan
def show_today(request: HttpRequest) -> HttpResponse:
    """What needs somebody now."""
    sheet = today_sheet(plan_now())
    return render(request, "web/today.html", {"sheet": sheet, "as_of": sheet.as_of, "door": "today"})
