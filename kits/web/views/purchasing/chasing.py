"""Whom to ask about which order line, in the order of the jobs that they hold; and how suppliers keep their word."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.catalog.queries import read_calendar, read_settings
from kits.exchange.workbooks.list_export import ListColumn
from kits.planning.buying.chase_list import ChaseRow, chase_list
from kits.planning.queries import plan_now, today
from kits.purchasing.supplier_record import SupplierRow, supplier_records
from kits.web.lists import list_answer, shown_list
from kits.web.views.faults import needs_plan

CHASE: tuple[ListColumn[ChaseRow], ...] = (
    ListColumn("order", "Order", lambda row: f"{row.order}, {row.line}"),
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("quantity", "Still to come", lambda row: row.quantity, figure=True),
    ListColumn("promised", "At our door", lambda row: row.promised_on),
    ListColumn("why", "Why", lambda row: row.why),
    ListColumn("frees", "Frees", lambda row: row.frees or None, figure=True),
    ListColumn("jobs", "Jobs", lambda row: ", ".join(job.name for job in row.jobs)),
    ListColumn("need", "First need", lambda row: row.need_on),
    ListColumn("asked", "Last asked", lambda row: row.call.called_on if row.call else None),
    ListColumn("said", "What was said", lambda row: f"{row.call.asked}: {row.call.said}" if row.call else ""),
    ListColumn("next", "Call on", lambda row: row.call.next_call_on if row.call else None),
)
SHOWN_CHASE = tuple(column for column in CHASE if column.name not in {"supplier", "asked"})
RECORDS: tuple[ListColumn[SupplierRow], ...] = (
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("came", "Lines that came", lambda row: row.came or None, figure=True),
    ListColumn("on_time", "On time", lambda row: row.on_time if row.came else None, figure=True),
    ListColumn("percent", "Of a hundred", lambda row: row.on_time_percent, figure=True),
    ListColumn("late", "Late by, mean working days", lambda row: row.days_late, figure=True),
    ListColumn("worst", "Latest", lambda row: row.worst or None, figure=True),
    ListColumn("overdue", "Past its first day now", lambda row: row.overdue or None, figure=True),
    ListColumn("moved", "Promises moved later", lambda row: row.moved or None, figure=True),
    ListColumn("refused", "Did not bid", lambda row: row.refused or None, figure=True),
    ListColumn("back", "Sent back", lambda row: row.sent_back or None, figure=True),
)


@require_safe
@needs_plan
def show_chase(request: HttpRequest) -> HttpResponse:
    """Order lines to ask about."""
    plan = plan_now()
    rows = chase_list(plan)
    if file := list_answer(request, "To ask about", CHASE, rows):
        return file
    context = {
        "list": shown_list(request, SHOWN_CHASE, rows, more=CHASE),
        "late": sum(row.days_late > 0 for row in rows),
        "unconfirmed": sum(row.unconfirmed for row in rows),
        "as_of": plan.shop.as_of,
        "door": "purchasing",
    }
    return render(request, "web/purchasing/chase.html", context)


@require_safe
def show_records(request: HttpRequest) -> HttpResponse:
    """How suppliers keep their word."""
    as_of = today()
    rows = supplier_records(as_of, read_calendar(read_settings()))
    if file := list_answer(request, "Suppliers", RECORDS, rows):
        return file
    context = {"list": shown_list(request, RECORDS, rows), "as_of": as_of, "door": "purchasing"}
    return render(request, "web/purchasing/records.html", context)
