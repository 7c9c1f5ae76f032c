"""Requests to suppliers: made from the shortages, printed, downloaded, marked as sent; answers that are typed in."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.replies.taking_back import take_reply_back
from kits.exchange.workbooks.list_export import ListColumn
from kits.exchange.workbooks.request_book import request_workbook
from kits.people.models import User
from kits.planning.buying.lines_to_ask import lines_to_ask
from kits.planning.queries import plan_now, today
from kits.purchasing.asking.actions import make_requests, mark_sent, withdraw_request
from kits.purchasing.asking.request_list import (
    RequestRow,
    RequestSheet,
    count_silent,
    request_list,
    request_sheet,
    suppliers_asked,
)
from kits.purchasing.models import Supplier
from kits.web.forms.asking.requests import TYPED, RequestForm, SentForm, TypedAnswerForm
from kits.web.lists import WORKBOOK, list_answer, shown_list
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.faults import needs_plan

MAY_ASK = "purchasing.add_pricerequest"
COLUMNS: tuple[ListColumn[RequestRow], ...] = (
    ListColumn("request", "Request", lambda row: row.number),
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("asked", "Asked on", lambda row: row.asked_on),
    ListColumn("sent", "Sent on", lambda row: row.sent_on),
    ListColumn("by", "Reply by", lambda row: row.reply_by),
    ListColumn("lines", "Lines", lambda row: row.lines, figure=True),
    ListColumn("answered", "Answered", lambda row: row.answered, figure=True),
    ListColumn("state", "How it stands", lambda row: row.state),
)


@require_safe
def show_requests(request: HttpRequest) -> HttpResponse:
    """Requests to suppliers, the latest first."""
    as_of, supplier = today(), request.GET.get("supplier", "")
    rows = request_list(today=as_of, supplier=supplier)
    answer = list_answer(request, "Requests", COLUMNS, rows)
    if answer is not None:
        return answer
    context = {
        "list": shown_list(request, COLUMNS, rows),
        "suppliers": suppliers_asked(),
        "supplier": supplier,
        "silent": count_silent(as_of),
        "may_ask": request.user.has_perm(MAY_ASK),
        "as_of": as_of,
        "door": "purchasing",
    }
    return render(request, "web/purchasing/requests.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_ASK, raise_exception=True)
@needs_plan
def new_request(request: HttpRequest) -> HttpResponse:
    """Tick lines and suppliers: each supplier gets a request of his own, all in one step."""
    plan = plan_now()
    lines, suppliers = lines_to_ask(plan), list(Supplier.objects.order_by("folded"))
    chosen = {"suppliers": request.GET.getlist("supplier")}
    form = RequestForm(lines, suppliers, request.POST or None, initial=chosen)
    if request.method == "POST" and form.is_valid():
        try:
            made = make_requests(
                suppliers=form.chosen_suppliers(),
                lines=form.wanted_lines(),
                only_offered=not form.cleaned_data["also_new"],
                reply_by=form.cleaned_data["reply_by"],
                note=form.cleaned_data["note"],
                by=cast(User, request.user),
                at=timezone.now(),
                today=plan.shop.as_of,
                key=form.request_key("ask"),
            )
            for one in made:
                says = f"Request {one.number} to {one.supplier} is made: print or download it, then send it."
                messages.success(request, says)
            return redirect("request", number=made[0].number) if len(made) == 1 else redirect("requests")
        except Refusal as error:
            form.add_error(None, str(error))
    context = {"form": form, "as_of": plan.shop.as_of, "door": "purchasing"}
    return render(request, "web/purchasing/new_request.html", context, status=422 if form.errors else 200)


@require_safe
def show_request(request: HttpRequest, number: str) -> HttpResponse:
    """One request as the supplier reads it, printed from this page."""
    return render_request(request, sheet_or_404(number), SentForm())


@require_safe
def download_request(request: HttpRequest, number: str) -> HttpResponse:
    """One request as a workbook to send."""
    sheet = sheet_or_404(number)
    name = f"{slugify(sheet.request.number)}-{slugify(sheet.request.supplier)}.xlsx"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse(request_workbook(sheet), WORKBOOK, headers=headers)


@require_POST
@permission_required(MAY_ASK, raise_exception=True)
def send_request(request: HttpRequest, number: str) -> HttpResponse:
    """Say on which day a request was sent."""
    sheet, form = sheet_or_404(number), SentForm(request.POST)
    if form.is_valid():
        try:
            mark_sent(
                request=sheet.request.pk,
                sent_on=form.cleaned_data["sent_on"],
                by=cast(User, request.user),
                at=timezone.now(),
                today=today(),
                key=form.request_key("sent", sheet.request.pk),
            )
            messages.success(request, f"Request {sheet.request.number} is marked as sent.")
            return redirect("request", number=sheet.request.number)
        except Refusal as error:
            form.add_error("sent_on", str(error))
    return render_request(request, sheet, form)


@require_POST
@permission_required(MAY_ASK, raise_exception=True)
def take_back(request: HttpRequest, number: str) -> HttpResponse:
    """Take a request back that nobody answered."""
    found, form = sheet_or_404(number).request, KeyForm(request.POST)
    try:
        refuse_foreign(form)
        key = form.request_key("withdraw", found.pk)
        withdraw_request(request=found.pk, by=cast(User, request.user), at=timezone.now(), key=key)
        messages.success(request, f"Request {found.number} is taken back.")
    except Refusal as error:
        messages.error(request, str(error))
    return redirect("request", number=found.number)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_ASK, raise_exception=True)
@needs_plan
def type_answer(request: HttpRequest, number: str) -> HttpResponse:
    """Type what the supplier said on the telephone or on paper; it is kept and looked at as a reply."""
    sheet = sheet_or_404(number)
    form = TypedAnswerForm(sheet, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            file = SheetFile(f"typed for {sheet.request.number}.csv", form.as_text(today()))
            reply = take_reply_back(file=file, by=cast(User, request.user), at=timezone.now(), today=today())
            return redirect("reply", reply=reply.pk)
        except Refusal as error:
            form.add_error(None, str(error))
    context = {"sheet": sheet, "form": form, "columns": TYPED, "as_of": today(), "door": "purchasing"}
    return render(request, "web/purchasing/type_answer.html", context, status=422 if form.errors else 200)


def render_request(request: HttpRequest, sheet: RequestSheet, form: SentForm) -> HttpResponse:
    """The page of a request."""
    context = {
        "sheet": sheet,
        "form": form,
        "may_ask": request.user.has_perm(MAY_ASK),
        "as_of": today(),
        "door": "purchasing",
    }
    return render(request, "web/purchasing/request.html", context, status=422 if form.errors else 200)


def sheet_or_404(number: str) -> RequestSheet:
    """The request of this number."""
    found = request_sheet(number, today())
    if found is None:
        raise Http404(f"There is no request {number}.")
    return found
