"""The shortages, and their workbook."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.catalog.queries import read_settings
from kits.planning.questions.stand_ins import short_part_notes
from kits.planning.sheets.shortages import shortage_sheet
from kits.web.views.faults import needs_plan
from kits.web.views.plan.shown import plan_shown
from kits.web.views.plan.workbook import asked_for


@require_safe
@needs_plan
def show_shortages(request: HttpRequest) -> HttpResponse:
    """What is short, late or overdue, for the shop or for one batch, for all suppliers or one."""
    batch, supplier = asked_for(request)
    plan, being_renewed = plan_shown(request)
    sheet = shortage_sheet(plan, batch=batch, supplier=supplier)
    context = {"sheet": sheet, "as_of": sheet.as_of, "door": "shortages", "currency": read_settings().currency}
    return render(
        request, "web/shortages.html", {**context, "notes": short_part_notes(plan), "being_renewed": being_renewed}
    )
