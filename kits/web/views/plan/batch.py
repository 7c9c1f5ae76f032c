"""The sheet of one batch."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.catalog.queries import read_settings
from kits.planning.queries import plan_now
from kits.planning.questions.shelf_answer import shelf_of_batch
from kits.planning.questions.stand_ins import short_part_notes
from kits.planning.sheets.batch import batch_sheet
from kits.planning.sheets.schedule import find_batch
from kits.schedule.models import Batch
from kits.web.views.faults import needs_plan
from kits.web.views.plan.shown import plan_shown


@require_safe
@needs_plan
def show_batch(request: HttpRequest, batch: str) -> HttpResponse:
    """What holds each pump of a batch, what to buy, and how each figure comes about."""
    plan, being_renewed = plan_shown(request)
    sheet = batch_sheet(plan, batch_or_404(batch).name)
    context = {"sheet": sheet, "as_of": sheet.as_of, "door": "schedule", "currency": read_settings().currency}
    return render(
        request, "web/batch.html", {**context, "notes": short_part_notes(plan), "being_renewed": being_renewed}
    )


@require_safe
@needs_plan
def show_shelf(request: HttpRequest, batch: str) -> HttpResponse:
    """What today's shelf can finish of a batch, where it takes too long to stand on the batch's own sheet."""
    found, plan = batch_or_404(batch), plan_now()
    context = {"shelf": shelf_of_batch(plan, found.name), "batch": found.name, "as_of": plan.shop.as_of}
    return render(request, "web/shelf.html", {**context, "door": "schedule"})


def batch_or_404(batch: str) -> Batch:
    """The batch of this name, however it is spelled."""
    found = find_batch(batch)
    if found is None:
        raise Http404(f"There is no batch named “{batch}”.")
    return found
