"""The schedule of batches and jobs."""

from __future__ import annotations

from typing import cast

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.catalog.queries import read_settings
from kits.people.models import User
from kits.people.sheet_rights import sheets_of
from kits.planning.sheets.build_days import build_weeks
from kits.planning.sheets.schedule import schedule_sheet
from kits.web.page_number import page_number
from kits.web.views.faults import needs_plan
from kits.web.views.plan.shown import plan_shown

WEEKS_HERE, WEEKS_A_PAGE = 3, 12


@require_safe
@needs_plan
def show_schedule(request: HttpRequest) -> HttpResponse:
    """Every batch with its jobs."""
    plan, being_renewed = plan_shown(request)
    sheet = schedule_sheet(plan, page_number(request))
    context = {
        "sheet": sheet,
        "build": build_weeks(plan, read_settings().pumps_a_day, WEEKS_HERE) if sheet.jobs else None,
        "as_of": sheet.as_of,
        "door": "schedule",
        "being_renewed": being_renewed,
        "may_load": sheets_of(cast(User, request.user)),
    }
    return render(request, "web/schedule.html", context)


@require_safe
@needs_plan
def show_build_days(request: HttpRequest) -> HttpResponse:
    """Every week in which something is built, a page of them."""
    plan, being_renewed = plan_shown(request)
    benches, page = read_settings().pumps_a_day, page_number(request)
    whole = build_weeks(plan, benches, WEEKS_A_PAGE).last
    shown = Paginator(range(whole), WEEKS_A_PAGE).get_page(page)
    context = {
        "build": build_weeks(plan, benches, WEEKS_A_PAGE, shown.start_index() - 1),
        "page": shown,
        "as_of": plan.shop.as_of,
        "door": "schedule",
        "being_renewed": being_renewed,
    }
    return render(request, "web/schedule/build_days.html", context)
