"""The quote of a job in its versions, the customer's go-ahead, and the hours that the shop takes."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.catalog.queries import read_settings
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.planning.queries import plan_now, today
from kits.planning.sheets.jobs.quote import QuotedRow, QuoteSheet, quote_sheet
from kits.schedule.models import Job
from kits.service.models import GoAhead, Quote, WorkHours
from kits.service.quoting.actions import record_go_ahead, set_hours, store_quote, take_go_ahead_back
from kits.service.quoting.queries import all_hours
from kits.web.forms.testing import HoursForm, QuoteForm, SaysForm
from kits.web.lists import list_answer, shown_list
from kits.web.views.faults import needs_plan
from kits.web.views.jobs.sheet import job_or_404

MAY_QUOTE, MAY_TIME = "service.add_quote", "service.change_workhours"

LINE_COLUMNS: tuple[ListColumn[QuotedRow], ...] = (
    ListColumn("for", "For", lambda row: row.what_for),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("what", "What", lambda row: row.says),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("each", "Price of one", lambda row: row.unit_price, figure=True),
    ListColumn("price", "Price", lambda row: row.price, figure=True),
)
HOURS_COLUMNS: tuple[ListColumn[WorkHours], ...] = (
    ListColumn("part", "Section or pump", lambda row: row.item.part_number),
    ListColumn("what", "What it is", lambda row: row.item.description),
    ListColumn("scope", "Scope", lambda row: row.scope),
    ListColumn("hours", "Hours", lambda row: row.hours, figure=True),
)


@require_http_methods(["GET", "HEAD", "POST"])
@needs_plan
def show_quote(request: HttpRequest, job: str) -> HttpResponse:
    """What a job comes to now, and its versions; the service lead stores the next one."""
    found, may_quote = job_or_404(job), request.user.has_perm(MAY_QUOTE)
    if request.method == "POST" and not may_quote:
        return render(request, "403.html", status=403)
    sheet = quote_sheet(plan_now(), found)
    if (answer := list_answer(request, f"Quote {found}", LINE_COLUMNS, rows_to_export(sheet))) is not None:
        return answer
    form = QuoteForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            messages.success(request, f"Version {store(request, sheet, form)} is stored.")
            return redirect("quote", job=found.job)
        except Refusal as error:
            return render_quote(request, sheet, form=form, refused=str(error), status=409)
    return render_quote(request, sheet, form=form, status=422 if form.errors else 200)


def rows_to_export(sheet: QuoteSheet) -> list[QuotedRow]:
    """The lines of what is quoted now, else of the version that stands."""
    shown = sheet.now or sheet.latest
    return [row for _, rows, _ in shown.groups for row in rows] if shown else []


def store(request: HttpRequest, sheet: QuoteSheet, form: QuoteForm) -> int:
    """Store what is quoted now as the next version, and return its number."""
    if sheet.said is None:
        stage = sheet.job.get_stage_display().lower()
        raise Refusal(f"{sheet.job} is {stage} and asks for no parts: there is nothing to quote.")
    key = form.request_key("quote", sheet.job.pk, sheet.shows)
    by, at = cast(User, request.user), timezone.now()
    return store_quote(job=sheet.job, said=sheet.said, note=form.cleaned_data["note"], by=by, at=at, key=key).version


def render_quote(request: HttpRequest, sheet: QuoteSheet, *, status: int = 200, **typed: Any) -> HttpResponse:
    """The quote of a job; ``typed`` holds what was typed where it was refused."""
    context = {"sheet": sheet, "may_quote": request.user.has_perm(MAY_QUOTE), "as_of": sheet.as_of, **typed}
    context |= {"list_at": reverse("quote", args=[sheet.job.job]), "door": "schedule"}
    return render(request, "web/jobs/quote.html", context, status=status)


@require_safe
@needs_plan
def print_quote(request: HttpRequest, version: int, job: str) -> HttpResponse:
    """One version as the customer gets it."""
    sheet = quote_sheet(plan_now(), job_or_404(job))
    shown = next((one for one in sheet.versions if one.version == version), None)
    if shown is None:
        raise Http404(f"{job} has no quote of version {version}.")
    context = {"sheet": sheet, "shown": shown, "shop_name": read_settings().text("shop_name"), "as_of": sheet.as_of}
    return render(request, "web/jobs/quote_print.html", context | {"door": "schedule"})


@require_POST
@permission_required(MAY_QUOTE, raise_exception=True)
@needs_plan
def give_go_ahead(request: HttpRequest, quote: int) -> HttpResponse:
    """Write the customer's go-ahead for a version down."""
    found = get_object_or_404(Quote.objects.select_related("job"), pk=quote)
    form = SaysForm(request.POST)
    refused = "" if form.is_valid() else form_says(form)
    if not refused:
        try:
            by, at, key = cast(User, request.user), timezone.now(), form.request_key("go-ahead", found.pk)
            record_go_ahead(quote=found, says=form.cleaned_data["says"], by=by, at=at, key=key)
        except Refusal as error:
            refused = str(error)
    if refused:
        return refuse(request, found.job, refused, go_ahead_says=request.POST.get("says", ""))
    messages.success(request, f"{found.job} has its go-ahead for version {found.version}.")
    return redirect("quote", job=found.job.job)


@require_POST
@permission_required(MAY_QUOTE, raise_exception=True)
@needs_plan
def take_back(request: HttpRequest, go_ahead: int) -> HttpResponse:
    """Take a go-ahead back."""
    found = get_object_or_404(GoAhead.objects.select_related("quote__job"), pk=go_ahead)
    form = SaysForm(request.POST)
    refused = "" if form.is_valid() else form_says(form)
    if not refused:
        try:
            by, at, key = cast(User, request.user), timezone.now(), form.request_key("no go-ahead", found.pk)
            take_go_ahead_back(go_ahead=found, why=form.cleaned_data["says"], by=by, at=at, key=key)
        except Refusal as error:
            refused = str(error)
    if refused:
        return refuse(request, found.quote.job, refused)
    messages.success(request, f"{found.quote.job} has no go-ahead any more.")
    return redirect("quote", job=found.quote.job.job)


def refuse(request: HttpRequest, job: Job, says: str, **typed: Any) -> HttpResponse:
    """The page again, with what was refused on it."""
    sheet = quote_sheet(plan_now(), job_or_404(job.job))
    return render_quote(request, sheet, form=QuoteForm(), refused=says, status=409, **typed)


def form_says(form: SaysForm) -> str:
    """What is wrong with a form, as one text."""
    return " ".join(str(error) for errors in form.errors.values() for error in errors)


@require_http_methods(["GET", "HEAD", "POST"])
def show_hours(request: HttpRequest) -> HttpResponse:
    """How long the shop takes for what; the service lead enters it."""
    may_write, rows = request.user.has_perm(MAY_TIME), all_hours()
    if request.method == "POST" and not may_write:
        return render(request, "403.html", status=403)
    if (answer := list_answer(request, "Work hours", HOURS_COLUMNS, rows)) is not None:
        return answer
    form = HoursForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            about = {"item": said["part_number"], "scope": said["scope"], "hours": said["hours"], "why": said["why"]}
            set_hours(by=cast(User, request.user), at=timezone.now(), key=form.request_key("hours"), **about)
        except Refusal as error:
            form.add_error("part_number", str(error))
        else:
            messages.success(request, f"The hours for {said['part_number']} are stored; quotes count with them now.")
            return redirect("work_hours")
    context = {"list": shown_list(request, HOURS_COLUMNS, rows), "form": form, "may_write": may_write, "as_of": today()}
    context |= {"rate": read_settings().hourly_rate, "currency": read_settings().currency, "door": "pumps_and_parts"}
    return render(request, "web/service/hours.html", context, status=422 if form.errors else 200)
