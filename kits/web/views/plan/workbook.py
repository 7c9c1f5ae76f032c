"""The shortage workbook, as a file to keep or to send."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from kits.exchange.workbooks.shortage_book import shortage_workbook
from kits.planning.lists.plan_rows import plan_rows
from kits.planning.queries import FILE_PATIENCE_SECONDS, begun_beside, plan_now
from kits.planning.sheets.schedule import find_batch
from kits.purchasing.models import Supplier
from kits.web.views.faults import needs_plan
from kits.web.views.long_work import LongWork, file_answer

WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


WORK = LongWork(
    title="Shortage workbook",
    doing="The workbook is being written.",
    steps="The steps: what is short, orders to expedite, jobs, how each number came about. With 400 jobs that takes "
    "some ten seconds.",
    door="shortages",
    back="shortages",
    back_says="Shortages",
)


@require_safe
@needs_plan
def download_workbook(request: HttpRequest) -> HttpResponse:
    """The shortages of the shop, or of one batch, as a workbook; for a supplier only his lines."""
    batch, supplier = asked_for(request)
    plan = plan_now()
    begun = begun_beside(
        plan,
        f"workbook of {batch!r} for {supplier!r}",
        lambda: shortage_workbook(plan, plan_rows(plan, batch or None), supplier or None),
        patience=0.0 if "work" in request.GET else FILE_PATIENCE_SECONDS,
        latest="latest" in request.GET,
    )
    name = "-".join(filter(None, ("shortages", slugify(batch), slugify(supplier), plan.shop.as_of.isoformat())))
    return file_answer(request, begun, WORK, WORKBOOK, f"{name}.xlsx")


def asked_for(request: HttpRequest) -> tuple[str, str]:
    """The batch and the supplier that the address names; a misspelled one must not stand for the whole shop."""
    batch, supplier = request.GET.get("batch", ""), request.GET.get("supplier", "")
    found_batch, found_supplier = find_batch(batch), Supplier.objects.by_name(supplier)
    if (batch and found_batch is None) or (supplier and found_supplier is None):
        raise Http404("There is no batch or supplier of this name.")
    return found_batch.name if found_batch else "", found_supplier.supplier if found_supplier else ""
