"""How one line of a sheet comes about: fetched into the sheet when the line is opened, or on a sheet of its own."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.planning.queries import plan_now
from kits.planning.sheets.worked_out import worked_out
from kits.web.views.faults import needs_plan


@require_safe
@needs_plan
def show_worked_out(request: HttpRequest, what: str, number: str) -> HttpResponse:
    """The arithmetic of a part, a job or an order; ``?also=`` holds what names the line besides its number."""
    row = (number, *request.GET.getlist("also"))
    sheet = worked_out(plan_now(), what, row, batch=request.GET.get("batch", ""), job=request.GET.get("job", ""))
    if sheet is None:
        says = f"The plan has no such line of “{number}” now: look again at the sheet from which you came."
        return render(request, "404.html", {"says": says}, status=404)
    context = {"sheet": sheet, "as_of": sheet.as_of, "door": "schedule" if what == "job" else "shortages"}
    return render(request, "web/worked_out.html", context)
