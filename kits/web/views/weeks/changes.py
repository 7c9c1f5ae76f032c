"""What changed: two answers of the plan set against each other, and the button that keeps those of now."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from bom.errors import BomError
from kits.catalog.days.words import in_full
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.planning.queries import plan_now
from kits.planning.weeks.actions import keep_answers
from kits.planning.weeks.answers import kept_list
from kits.planning.weeks.changes import BECAME, JobMove, compare_kept
from kits.web.lists import list_answer, shown_list
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.faults import needs_plan

MAY_KEEP = "planning.add_keptanswers"
MOVES: tuple[ListColumn[JobMove], ...] = (
    ListColumn("became", "What became of it", lambda row: row.became_says),
    ListColumn("job", "Job", lambda row: row.job),
    ListColumn("pump", "Pump", lambda row: row.pump),
    ListColumn("scope", "Scope", lambda row: row.scope),
    ListColumn("customer", "Customer", lambda row: row.customer),
    ListColumn("serial", "Serial", lambda row: row.serial),
    ListColumn("was", "Could be built, then", lambda row: row.was.could_build_on if row.was else None),
    ListColumn("now", "Can be built, now", lambda row: row.now.could_build_on if row.now else None),
    ListColumn("days", "Working days later", lambda row: row.days, figure=True),
    ListColumn("was_status", "It was", lambda row: row.was.status if row.was else ""),
    ListColumn("now_status", "It is", lambda row: row.now.status if row.now else ""),
    ListColumn("blocking", "Held by", lambda row: row.now.blocking_part if row.now else ""),
    ListColumn("why", "Why", lambda row: "; ".join(row.why)),
)
SHOWN = ("became", "job", "customer", "was", "now", "days", "why")
HEADED = tuple(column for column in MOVES if column.name in SHOWN)
BESIDES = tuple(column for column in MOVES if column.name not in SHOWN)


@require_safe
@needs_plan
def show_changes(request: HttpRequest) -> HttpResponse:
    """What became of each job from one answer to a later one."""
    plan, kept = plan_now(), kept_list()
    context: dict[str, Any] = {
        "kept": kept,
        "became": BECAME,
        "as_of": plan.shop.as_of,
        "may_keep": request.user.has_perm(MAY_KEEP),
        "door": "schedule",
    }
    found = compare_kept(plan, kept, *(request.GET.get(name, "") for name in ("from", "to")))
    if found is None:
        return render(request, "web/weeks/changes.html", context)
    only = request.GET.get("became", "")
    rows = [row for row in found.rows if row.became == only] if only in BECAME else list(found.rows)
    if file := list_answer(request, f"Changes since {found.before.as_of.isoformat()}", MOVES, rows):
        return file
    context |= {"found": found, "only": only, "list": shown_list(request, HEADED, rows, more=BESIDES)}
    return render(request, "web/weeks/changes.html", context)


@require_POST
@permission_required(MAY_KEEP, raise_exception=True)
@needs_plan
def keep(request: HttpRequest) -> HttpResponse:
    """Keep what the plan answers now."""
    form = KeyForm(request.POST)
    try:
        refuse_foreign(form)
        key = form.request_key("keep answers")
        kept = keep_answers(by=cast(User, request.user), at=timezone.now(), key=key)
    except BomError as error:
        messages.error(request, str(error))
    else:
        messages.success(
            request, f"The answers of {in_full(kept.as_of)} are kept: later ones can be set against them here."
        )
    return redirect("changes")
