"""The waiting list: pumps that cannot be built yet, by age."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.exchange.workbooks.list_export import ListColumn
from kits.planning.lists.waiting_list import GROUPS, WaitingJob, waiting_list
from kits.planning.queries import plan_now
from kits.web.lists import list_answer, shown_list
from kits.web.views.faults import needs_plan

WAITING: tuple[ListColumn[WaitingJob], ...] = (
    ListColumn("days", "Days here", lambda row: row.days, figure=True),
    ListColumn("job", "Job", lambda row: row.job),
    ListColumn("customer", "Customer", lambda row: row.customer),
    ListColumn("thing", "Waits for", lambda row: row.thing),
    ListColumn("promised", "Promise", lambda row: row.promised_on),
    ListColumn("build", "Build", lambda row: row.build_on),
    ListColumn("state", "How it stands", lambda row: row.state.says),
)
BESIDES: tuple[ListColumn[WaitingJob], ...] = (
    ListColumn("group", "Group", lambda row: row.group_says),
    ListColumn("came", "Came on", lambda row: row.came_on),
    ListColumn("pump", "Pump", lambda row: row.pump),
    ListColumn("scope", "Scope", lambda row: row.scope),
    ListColumn("pumps", "Pumps", lambda row: row.quantity, figure=True),
    ListColumn("serial", "Serial", lambda row: row.serial),
    ListColumn("what", "What it is", lambda row: row.what),
    ListColumn("promise", "What is known of it", lambda row: row.promise),
)


@require_safe
@needs_plan
def show_waiting(request: HttpRequest) -> HttpResponse:
    """All of them, or one group."""
    waiting, group = waiting_list(plan_now()), request.GET.get("group", "")
    rows = [row for row in waiting.rows if row.group == group] if group in GROUPS else list(waiting.rows)
    if file := list_answer(request, "Waiting list", (*WAITING, *BESIDES), rows):
        return file
    context = {
        "waiting": waiting,
        "groups": GROUPS,
        "group": group if group in GROUPS else "",
        "list": shown_list(request, WAITING, rows, more=BESIDES),
        "as_of": waiting.as_of,
        "door": "schedule",
    }
    return render(request, "web/weeks/waiting.html", context)
