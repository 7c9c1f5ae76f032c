"""The shortage workbook, as a file to keep or to send."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from kits.exchange.shortage_book import shortage_workbook
from kits.planning.plan_rows import plan_rows
from kits.planning.queries import plan_now
from kits.planning.schedule_sheet import find_batch
from kits.purchasing.models import Supplier
from kits.web.views.faults import needs_plan

WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@require_safe
@needs_plan
def download_workbook(request: HttpRequest) -> HttpResponse:
    """The shortages of the shop, or of one batch, as a workbook; for a supplier only his lines."""
    batch = find_batch(request.GET.get("batch", ""))
    supplier = Supplier.objects.by_name(request.GET.get("supplier", ""))
    plan = plan_now()
    content = shortage_workbook(
        plan, plan_rows(plan, batch.name if batch else None), supplier.supplier if supplier else None
    )
    named = (slugify(batch.name) if batch else "", slugify(supplier.supplier) if supplier else "")
    name = "-".join(filter(None, ("shortages", *named, plan.shop.as_of.isoformat())))
    return HttpResponse(content, WORKBOOK, headers={"Content-Disposition": f'attachment; filename="{name}.xlsx"'})
