"""Today's sheet, by role, and what frees most jobs of the whole shop."""

from __future__ import annotations

from typing import cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.catalog.queries import read_settings
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.planning.queries import plan_now, today
from kits.planning.questions.freeing import Frees
from kits.planning.sheets.first_steps import first_steps
from kits.planning.sheets.today.freeing import best_first, releases_of_shop, shop_frees
from kits.planning.sheets.today.sheet import since_last_week, today_sheet
from kits.planning.sheets.today.whose import WHOSE, whose_todays
from kits.planning.weeks.answers import last_week_began_with
from kits.web.lists import list_answer, shown_list
from kits.web.views.faults import needs_plan
from kits.web.views.plan.shown import plan_shown

FREES: tuple[ListColumn[Frees], ...] = (
    ListColumn("thing", "Part or order", lambda row: " with ".join(one.order or one.part_number for one in row.parts)),
    ListColumn("to_do", "What to do", lambda row: "; ".join(one.to_do for one in row.parts)),
    ListColumn("frees", "Frees", lambda row: len(row.jobs), figure=True),
    ListColumn("jobs", "Jobs", lambda row: ", ".join(job.name for job in row.jobs)),
    ListColumn("in_time", "Still in time", lambda row: row.in_time or None, figure=True),
    ListColumn("price", "Price", lambda row: row.price, figure=True),
)


@require_safe
@needs_plan
def show_today(request: HttpRequest) -> HttpResponse:
    """What needs somebody now, as their role asks for it."""
    plan, being_renewed = plan_shown(request)
    may_see = whose_todays(cast(User, request.user))
    asked = request.GET.get("for", "")
    whose = asked if asked in may_see else may_see[0] if may_see else "planner"
    sheet = today_sheet(plan, whose)
    before = last_week_began_with(plan.shop.as_of) if whose == "planner" else None
    context = {
        "sheet": sheet,
        "lists": f"web/today/{whose}.html",
        "others": [(name, WHOSE[name][0]) for name in may_see] if len(may_see) > 1 else [],
        "since": before,
        "since_says": since_last_week(plan, before),
        "currency": read_settings().currency,
        "is_new": not (plan.shop.jobs and plan.shop.lots),
        "as_of": sheet.as_of,
        "door": "today",
        "being_renewed": being_renewed,
    }
    return render(request, "web/today.html", context)


@require_safe
def show_first_steps(request: HttpRequest) -> HttpResponse:
    """What a new shop does first."""
    steps = first_steps()
    context = {"steps": steps, "left": sum(not step.done for step in steps), "as_of": today(), "door": "today"}
    context["may_keep_people"] = request.user.has_perm("people.change_user")
    return render(request, "web/today/first_steps.html", context)


@require_safe
@needs_plan
def show_freeing(request: HttpRequest) -> HttpResponse:
    """What frees most jobs of the whole shop, as a list."""
    plan = plan_now()
    rows = shop_frees(plan, best_first(releases_of_shop(plan)))
    if file := list_answer(request, "What frees most", FREES, rows):
        return file
    context = {
        "list": shown_list(request, FREES, rows),
        "currency": read_settings().currency,
        "as_of": plan.shop.as_of,
        "door": "today",
    }
    return render(request, "web/today/freeing.html", context)
