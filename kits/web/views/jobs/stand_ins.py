"""Another part in the place of one that a bag lacks."""

from __future__ import annotations

from typing import cast
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.people.models import User
from kits.picking.bags.actions import give_stand_in
from kits.picking.bags.counter import counter_account
from kits.picking.bags.instead import REASONS, InsteadSheet, instead_sheet
from kits.picking.models import Bag, PickLine
from kits.planning.queries import plan_now
from kits.schedule.models import Job
from kits.web.forms.bags import CounterForm
from kits.web.page_number import is_number
from kits.web.views.faults import needs_plan
from kits.web.views.jobs.sheet import job_or_404
from kits.web.views.picking import MAY_PICK, MAY_SEE


@require_safe
@permission_required(MAY_SEE, raise_exception=True)
@needs_plan
def show_instead(request: HttpRequest, part: int, job: str) -> HttpResponse:
    """What may go into the bag of a job in the place of a part, and where it lies."""
    found = job_or_404(job)
    return render_instead(request, instead_sheet(plan_now(), found, get_object_or_404(Item, pk=part)))


@require_POST
@permission_required(MAY_PICK, raise_exception=True)
@needs_plan
def give_instead(request: HttpRequest, balance: int, part: int, job: str) -> HttpResponse:
    """Put it into the bag, with the reason on the button that was tapped."""
    found, form = job_or_404(job), CounterForm(request.POST)
    wanted, account = get_object_or_404(Item, pk=part), counter_account(balance)
    if account is None:
        raise Http404("There is no such account of the shelf.")
    sheet = instead_sheet(plan_now(), found, wanted)
    if not form.is_valid():
        return render_instead(request, sheet, form=form, of=balance, status=422)
    said = form.cleaned_data
    reason, hand = said["why"] or said["other"], cast(User, request.user)
    try:
        key = form.request_key("stand in", balance, found.pk, wanted.pk, sheet.lacks.millionths)
        around = {"reason": reason, "by": hand, "at": timezone.now(), "key": key}
        made = give_stand_in(job=found, wanted=wanted, source=account, quantity=said["quantity"], **around)
    except Refusal as error:
        sheet = instead_sheet(plan_now(), found, wanted)
        return render_instead(request, sheet, form=form, of=balance, refused=str(error), status=409)
    messages.success(
        request, f"Put into the bag of {found}: {made.stand_in.amount.text} of {made.stand_in.lot.item}. {reason}."
    )
    return redirect(back_to(request, found))


def back_to(request: HttpRequest, job: Job) -> str:
    """Where to go on: before the line of the round from which one came, else at the bag of the job, else at the job."""
    line = request.GET.get("line", "") or request.POST.get("line", "")
    if is_number(line) and (found := PickLine.objects.filter(pk=int(line)).first()):
        return f"{reverse('pick_round', args=[found.pick_round_id])}?{urlencode({'line': found.pk})}"
    bag = Bag.objects.filter(job=job).first()
    return reverse("bag", args=[bag.number]) if bag else reverse("job", args=[job.job])


def render_instead(
    request: HttpRequest,
    sheet: InsteadSheet,
    *,
    form: CounterForm | None = None,
    of: int | None = None,
    refused: str = "",
    status: int = 200,
) -> HttpResponse:
    """The page; a refused form stays beside its packet as it was filled in."""
    rows = [
        (
            row,
            form
            if form and row.at.balance_id == of
            else CounterForm(auto_id=f"instead_{row.at.balance_id}_%s", initial={"quantity": row.most.millionths}),
        )
        for row in sheet.rows
    ]
    context = {
        "sheet": sheet,
        "rows": rows,
        "refused": refused,
        "reasons": REASONS,
        "line": request.GET.get("line", "") or request.POST.get("line", ""),
        "back": back_to(request, sheet.job),
        "may_pick": request.user.has_perm(MAY_PICK),
        "as_of": sheet.as_of,
        "door": "picking",
    }
    return render(request, "web/bags/instead.html", context, status=status)
