"""The return list: what jobs hold and need no more, brought back to the shelf or set free there."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.picking.changes.actions import free_set_aside
from kits.picking.changes.return_list import ReturnRow, return_rows
from kits.planning.queries import plan_now
from kits.schedule.models import Job
from kits.web.alike import alike_in
from kits.web.lists import list_answer, shown_list
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.faults import needs_plan

MAY_POST = "stock.add_posting"
COLUMNS: tuple[ListColumn[ReturnRow], ...] = (
    ListColumn("job", "Job", lambda row: row.job),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("where", "Where it is", lambda row: row.where),
    ListColumn("place", "Place", lambda row: row.place),
    ListColumn("why", "Why", lambda row: row.why),
)


@require_safe
@needs_plan
def show_returns(request: HttpRequest) -> HttpResponse:
    """What jobs hold and need no more, of all jobs or of one."""
    plan, job = plan_now(), request.GET.get("job", "").strip()
    rows = return_rows(plan, job)
    if file := list_answer(request, "Return list", COLUMNS, rows):
        return file
    shown = shown_list(request, COLUMNS, rows)
    context = {"list": shown, "job": job, "may_post": request.user.has_perm(MAY_POST), "alike": alike_in(shown)}
    return render(request, "web/storeroom/return_list.html", context | {"as_of": plan.shop.as_of, "door": "storeroom"})


@require_POST
@permission_required(MAY_POST, raise_exception=True)
@needs_plan
def free_row(request: HttpRequest, lot: int, job: str) -> HttpResponse:
    """Set what lies on the shelf for a job no longer aside, as far as the job does not need it."""
    found, form = Job.objects.by_number(job), KeyForm(request.POST)
    if found is None:
        raise Http404(f"There is no job numbered “{job}”.")
    row = next(
        (one for one in return_rows(plan_now(), found.job) if one.lot_id == lot and one.balance_id is None), None
    )
    try:
        refuse_foreign(form)
        quantity = row.quantity.millionths if row else 0
        freed = free_set_aside(
            job=found,
            lot_id=lot,
            quantity=quantity,
            by=cast(User, request.user),
            at=timezone.now(),
            key=form.request_key("free", lot, found.pk, quantity),
        )
    except Refusal as error:
        messages.error(request, str(error))
    else:
        if freed and row:
            messages.success(request, f"{row.quantity.text} of {row.part_number}, lot {row.lot}, are free for others.")
    return redirect("return_list")
