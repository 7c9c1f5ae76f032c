"""The sheet of one week, for the owner."""

from __future__ import annotations

from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.exchange.workbooks.list_export import ListColumn
from kits.planning.queries import plan_now
from kits.planning.weeks.answers import monday
from kits.planning.weeks.week_jobs import WeekJob
from kits.planning.weeks.week_sheet import BrokenPromise, RobbedPiece, WeekSheet, week_sheet
from kits.web.lists import list_answer
from kits.web.views.faults import needs_plan

WEEK = timedelta(days=7)
JOBS: tuple[ListColumn[WeekJob], ...] = (
    ListColumn("job", "Job", lambda row: row.job),
    ListColumn("pump", "Pump", lambda row: row.pump),
    ListColumn("scope", "Scope", lambda row: row.scope),
    ListColumn("customer", "Customer", lambda row: row.customer),
    ListColumn("serial", "Serial", lambda row: row.serial),
    ListColumn("planned", "Planned on", lambda row: row.planned_on),
    ListColumn("built", "Built on", lambda row: row.built_on),
    ListColumn("on_day", "On its day", lambda row: "yes" if row.on_its_day else "no" if row.planned_on else ""),
    ListColumn("why", "Why not", lambda row: row.why_not),
    ListColumn("planned_cost", "Parts, planned", lambda row: row.planned.sum if row.planned else None, figure=True),
    ListColumn("used_cost", "Parts, used", lambda row: row.used.sum if row.used else None, figure=True),
    ListColumn(
        "uncosted", "Parts used without a cost", lambda row: row.used.unknown if row.used else None, figure=True
    ),
)
PROMISES: tuple[ListColumn[BrokenPromise], ...] = (
    ListColumn("promised", "Promised", lambda row: row.promised_on),
    ListColumn("order", "Order", lambda row: row.order),
    ListColumn("line", "Line", lambda row: row.line),
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("became", "What became of it", lambda row: row.became),
)
ROBBED: tuple[ListColumn[RobbedPiece], ...] = (
    ListColumn("at", "When", lambda row: row.at),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("kit", "Out of kit", lambda row: row.kit),
    ListColumn("lot", "Lot", lambda row: row.kit_lot),
    ListColumn("job", "For job", lambda row: row.job),
    ListColumn("by", "By", lambda row: row.by),
    ListColumn("reason", "Why", lambda row: row.reason),
)


@require_safe
@needs_plan
def show_week(request: HttpRequest) -> HttpResponse:
    """This week, or the one that the address names by any of its days."""
    plan = plan_now()
    as_of = plan.shop.as_of
    sheet = week_sheet(plan, day_asked(request) or as_of)
    if file := file_of(request, sheet):
        return file
    first_on = sheet.week.first_on
    context = {
        "sheet": sheet,
        "before": first_on - WEEK,
        "after": first_on + WEEK,
        "this_week": monday(as_of),
        "as_of": as_of,
        "door": "schedule",
    }
    return render(request, "web/weeks/week.html", context)


def day_asked(request: HttpRequest) -> date | None:
    """The day that the address names; None where it names none that a week can be found for."""
    try:
        day = date.fromisoformat(request.GET.get("week", ""))
    except ValueError:
        return None
    return day if date(1990, 1, 1) <= day <= date(2190, 1, 1) else None


def file_of(request: HttpRequest, sheet: WeekSheet) -> HttpResponse | None:
    """One of the three lists as a file, if the address asks for one."""
    called = f"week of {sheet.week.first_on.isoformat()}"
    wanted = request.GET.get("list", "")
    if wanted == "promises":
        return list_answer(request, f"Broken promises, {called}", PROMISES, sheet.promises)
    if wanted == "robbed":
        return list_answer(request, f"Out of kits, {called}", ROBBED, sheet.robbed)
    return list_answer(request, f"Jobs, {called}", JOBS, sheet.jobs)
