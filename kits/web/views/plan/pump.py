"""The sheet of one pump."""

from __future__ import annotations

from typing import cast

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.people.models import User
from kits.people.sheet_rights import sheets_of
from kits.planning.lists.never_asked import never_asked_in
from kits.planning.queries import plan_now
from kits.planning.questions.rebuild_counts import rebuild_counts
from kits.planning.sheets.items.pump import drawn_pump, pump_sheet
from kits.web.views.faults import needs_plan


@require_safe
@needs_plan
def show_pump(request: HttpRequest, part_number: str) -> HttpResponse:
    """The structure of a pump with running products, its scopes and their kits, how many can be rebuilt."""
    plan = plan_now()
    sheet = pump_sheet(plan, part_number)
    if sheet is None:
        raise Http404(f"There is no pump numbered “{part_number}”.")
    counts = rebuild_counts(plan, sheet.part_number)
    context = {"sheet": sheet, "counts": counts, "as_of": plan.shop.as_of, "door": "pumps_and_parts"}
    context["never_asked"] = never_asked_in(plan, sheet.part_number, sheet.holds)
    context["may_load"] = sheets_of(cast(User, request.user))
    return render(request, "web/pump.html", context)


@require_safe
@needs_plan
def show_drawn_pump(request: HttpRequest, part_number: str) -> HttpResponse:
    """The pump and its assemblies part by part, fetched into the sheet of the pump, or on a sheet of its own."""
    plan = plan_now()
    drawn = drawn_pump(plan, part_number)
    if drawn is None:
        raise Http404(f"There is no pump numbered “{part_number}”.")
    context = {"drawn": drawn, "as_of": plan.shop.as_of, "door": "pumps_and_parts"}
    return render(request, "web/pump_drawn.html", context)
