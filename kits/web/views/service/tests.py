"""The test sheet of a job, the limits of a pump, and gauges."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.catalog.words import ItemKind
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.picking.closing.actions import record_failed_test, record_test
from kits.planning.queries import today
from kits.service.models import Gauge
from kits.service.testing.actions import set_gauge, set_limits
from kits.service.testing.queries import gauges, limits_of
from kits.service.testing.sheet import TestSheet, sheet_of_tests
from kits.web.forms.testing import GaugeForm, LimitsForm, TestForm
from kits.web.lists import list_answer, shown_list
from kits.web.views.jobs.sheet import MAY_STEP, job_or_404
from kits.web.views.plan.fitting import item_or_404

MAY_LIMIT, MAY_GAUGE = "service.change_pumplimit", "service.change_gauge"

GAUGE_COLUMNS: tuple[ListColumn[Gauge], ...] = (
    ListColumn("gauge", "Gauge", lambda row: row.gauge),
    ListColumn("reads", "Reads", lambda row: row.reads),
    ListColumn("calibrated", "Calibrated", lambda row: row.calibrated_on),
    ListColumn("due", "Calibrated to", lambda row: row.due_on),
    ListColumn("certificate", "Certificate", lambda row: row.certificate),
)


@require_http_methods(["GET", "HEAD", "POST"])
def show_tests(request: HttpRequest, job: str) -> HttpResponse:
    """The test sheet of a job; whoever may take its steps writes a test down on it."""
    found, may_write = job_or_404(job), request.user.has_perm(MAY_STEP)
    if request.method == "POST" and not may_write:
        return render(request, "403.html", status=403)
    sheet = sheet_of_tests(found, today())
    form = TestForm(sheet, request.POST if request.method == "POST" else None)
    refused = ""
    if request.method == "POST" and form.is_valid():
        try:
            messages.success(request, write_test(request, sheet, form))
            return redirect("test_sheet", job=found.job)
        except Refusal as error:
            refused = str(error)
    context = {"sheet": sheet, "form": form, "refused": refused, "as_of": sheet.as_of, "door": "schedule"}
    context |= {"may_write": may_write and found.stage == "built"}
    return render(request, "web/jobs/tests.html", context, status=409 if refused else 422 if form.errors else 200)


def write_test(request: HttpRequest, sheet: TestSheet, form: TestForm) -> str:
    """Write a test down, and say what came of it."""
    job, said = sheet.job, form.said()
    by, at, key = cast(User, request.user), timezone.now(), form.request_key("test", sheet.job.pk, sheet.shows)
    if form.cleaned_data["outcome"] == "failed":
        record_failed_test(job=job, sheet=said, again=form.again(), by=by, at=at, key=key)
        return f"{job} has not passed. It is stripped once more: write its strip report {sheet.strip + 1}."
    step = record_test(job=job, says=said.says, sheet=said if sheet.limits else None, by=by, at=at, key=key)
    return f"{job} is tested now." if step else f"Pump {said.pump_number} of {job} has passed; the others wait."


@require_http_methods(["GET", "HEAD", "POST"])
def show_limits(request: HttpRequest, part_number: str) -> HttpResponse:
    """What a pump is tested against; the service lead's to say."""
    pump, may_write = item_or_404(part_number, ItemKind.PUMP), request.user.has_perm(MAY_LIMIT)
    if request.method == "POST" and not may_write:
        return render(request, "403.html", status=403)
    form = LimitsForm(limits_of(pump), request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid() and store_limits(request, pump, form):
        return redirect("test_limits", part_number=pump.part_number)
    context = {"pump": pump, "form": form, "may_write": may_write, "door": "pumps_and_parts"}
    return render(request, "web/service/limits.html", context, status=422 if form.errors else 200)


def store_limits(request: HttpRequest, pump: Item, form: LimitsForm) -> bool:
    """Store the limits of a pump, and return whether they could be."""
    by, at = cast(User, request.user), timezone.now()
    try:
        key = form.request_key("limits", pump.pk, form.shows)
        set_limits(pump=pump, limits=form.limits(), why=form.cleaned_data["why"], by=by, at=at, key=key)
    except Refusal as error:
        form.add_error(None, str(error))
        return False
    messages.success(request, f"The limits of {pump} are stored; tests are set against them from now on.")
    return True


@require_http_methods(["GET", "HEAD", "POST"])
def show_gauges(request: HttpRequest) -> HttpResponse:
    """All gauges with the day to which they are calibrated; the service lead enters them."""
    may_write, rows = request.user.has_perm(MAY_GAUGE), gauges()
    if request.method == "POST" and not may_write:
        return render(request, "403.html", status=403)
    if (answer := list_answer(request, "Gauges", GAUGE_COLUMNS, rows)) is not None:
        return answer
    form = GaugeForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            said = {name: value for name, value in form.cleaned_data.items() if name != "key"}
            key = form.request_key("gauge")
            made = set_gauge(by=cast(User, request.user), at=timezone.now(), key=key, **said)
        except Refusal as error:
            form.add_error("gauge", str(error))
        else:
            messages.success(request, f"Gauge {made} is stored.")
            return redirect("gauges")
    as_of = today()
    context = {"list": shown_list(request, GAUGE_COLUMNS, rows), "form": form, "may_write": may_write, "as_of": as_of}
    context |= {"past": sum(row.due_on < as_of for row in rows), "door": "pumps_and_parts"}
    return render(request, "web/service/gauges.html", context, status=422 if form.errors else 200)
