"""The sheet of one batch."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.catalog.queries import read_settings
from kits.planning.batch_sheet import batch_sheet
from kits.planning.queries import plan_now
from kits.planning.schedule_sheet import find_batch
from kits.web.views.faults import needs_plan


@require_safe
@needs_plan
def show_batch(request: HttpRequest, batch: str) -> HttpResponse:
    """What holds each pump of a batch, what to buy, and how each figure comes about."""
    found = find_batch(batch)
    if found is None:
        raise Http404(f"There is no batch named “{batch}”.")
    sheet = batch_sheet(plan_now(), found.name)
    context = {"sheet": sheet, "as_of": sheet.as_of, "door": "schedule", "currency": read_settings().currency}
    return render(request, "web/batch.html", context)
