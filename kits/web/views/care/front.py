"""List care: what past rebuilds say of the lists, deciding against it, and every change that was made with a name."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.exchange.revised.queries import RevisedRow, revised_lists
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.people.sheet_rights import MAY_UPLOAD
from kits.picking.care.actions import let_list_stand
from kits.picking.care.evidence import MOST_JOBS
from kits.picking.care.proposals import LEAST_PUMPS, ProposedChange, find_proposal, proposed_changes
from kits.planning.queries import plan_now, today
from kits.web.forms.service.care import LetStandForm
from kits.web.lists import list_answer, shown_list
from kits.web.views.faults import needs_plan
from kits.web.views.jobs.concessions import form_says

MAY_CARE = "catalog.change_structureline"
PROPOSALS: tuple[ListColumn[ProposedChange], ...] = (
    ListColumn("part", "Part", lambda row: row.part.part_number),
    ListColumn("of", "Pump or kit", lambda row: row.of.part_number),
    ListColumn("scope", "Scope", lambda row: row.scope),
    ListColumn("seen", "What was seen", lambda row: row.seen),
    ListColumn("jobs", "Shown by", lambda row: ", ".join(one.job for one in row.found.witnesses if one.shows)),
)
CHANGES: tuple[ListColumn[RevisedRow], ...] = (
    ListColumn("at", "When", lambda row: row.at.date()),
    ListColumn("what", "What", lambda row: row.what),
    ListColumn("approved", "Approved by", lambda row: row.approved_by),
    ListColumn("why", "Why", lambda row: row.why),
    ListColumn("by", "Written by", lambda row: row.by),
    ListColumn("state", "It is", lambda row: row.state),
)


@require_safe
@needs_plan
def show_care(request: HttpRequest) -> HttpResponse:
    """What past rebuilds say of the lists."""
    return _render(request)


@require_POST
@permission_required(MAY_CARE, raise_exception=True)
@needs_plan
def let_stand(request: HttpRequest) -> HttpResponse:
    """Decide against a proposal."""
    form = LetStandForm(request.POST)
    try:
        if not form.is_valid():
            raise Refusal(form_says(form))
        said = form.cleaned_data
        thing = said["of"], said["scope"], said["part"]
        if form.is_repeat("let stand", thing):
            return redirect("list_care")
        change = find_proposal(plan_now(), *thing)
        if change is None:
            raise Refusal(
                f"A change of {said['part']} in {said['of']} is not proposed any more: look at the list again."
            )
        by, at = cast(User, request.user), timezone.now()
        key = form.request_key("let stand", thing, change.seen)
        let_list_stand(change=change, why=said["reason"], by=by, at=at, key=key)
    except Refusal as error:
        return _render(request, refused=str(error), status=409)
    messages.success(request, f"{change.of} stays as listed. It comes back if rebuilds from now on show it anew.")
    return redirect("list_care")


@require_safe
def show_changes(request: HttpRequest) -> HttpResponse:
    """Every change of a list that was approved by name."""
    rows = revised_lists()
    if file := list_answer(request, "Changes of the lists", CHANGES, rows):
        return file
    context = {"list": shown_list(request, CHANGES, rows), "as_of": today(), "door": "pumps_and_parts"}
    context["may_open"] = request.user.has_perm(MAY_UPLOAD)
    return render(request, "web/care/changes.html", context)


def _render(request: HttpRequest, *, refused: str = "", status: int = 200) -> HttpResponse:
    plan = plan_now()
    rows = proposed_changes(plan)
    if file := list_answer(request, "List care", PROPOSALS, rows):
        return file
    context = {
        "list": shown_list(request, PROPOSALS, rows),
        "refused": refused,
        "may_care": request.user.has_perm(MAY_CARE),
        "least": LEAST_PUMPS,
        "most": MOST_JOBS,
        "as_of": plan.shop.as_of,
        "door": "pumps_and_parts",
    }
    return render(request, "web/care/front.html", context, status=status)
