"""Orders drafted from what is short and quoted, put right, sent or cancelled."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from kits.catalog.days.doubts import doubts_now
from kits.catalog.errors import Refusal
from kits.catalog.queries import read_settings
from kits.people.models import User
from kits.planning.lists.order_rows import OrderRow, order_rows
from kits.planning.queries import plan_now, today
from kits.purchasing.models import PurchaseOrder, Supplier
from kits.purchasing.orders.actions import cancel_draft, change_draft, draft_orders, send_order
from kits.purchasing.orders.writes import DraftLine
from kits.web.forms.ordering.drafts import DraftForm, DraftLinesForm, OrderSentForm
from kits.web.request_keys import KeyForm
from kits.web.views.faults import needs_plan
from kits.web.views.purchasing.front import MAY_ORDER
from kits.web.views.purchasing.order_sheets import render_order, sheet_or_404


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_ORDER, raise_exception=True)
@needs_plan
def draft(request: HttpRequest) -> HttpResponse:
    """Draft orders from what is short and quoted, one for each supplier, in packs with prices and totals."""
    supplier = request.GET.get("supplier", "")
    if supplier and Supplier.objects.by_name(supplier) is None:
        raise Http404("There is no supplier of this name.")
    plan = plan_now()
    lines = order_rows(plan, supplier)
    form = DraftForm(lines, doubts_now(plan.shop.as_of), request.POST or None)
    shows = [(line.name, line.drafted) for line in lines]
    if request.method == "POST" and form.is_valid() and "reckon" not in request.POST:
        try:
            drafted = draft_orders(
                lines=form.draft_lines(),
                numbers=form.numbers(),
                reason=from_what(form.draft_lines(), lines),
                by=cast(User, request.user),
                at=timezone.now(),
                today=plan.shop.as_of,
                key=form.request_key("draft", supplier, shows),
            )
            messages.success(request, f"Drafted: order {', '.join(map(str, drafted))}. Look at it, then send it.")
            return redirect("order", drafted[0].number) if len(drafted) == 1 else redirect("orders")
        except Refusal as error:
            form.add_error(None, str(error))
    context = {"form": form, "supplier": supplier, "shows": shows, "as_of": plan.shop.as_of, "door": "purchasing"}
    context["currency"] = read_settings().currency
    return render(request, "web/purchasing/draft.html", context, status=422 if form.errors else 200)


def from_what(drafted: Sequence[DraftLine], lines: Sequence[OrderRow]) -> str:
    """Where an order comes from, as its lines tell it later."""
    taken = {line.quote_id for line in drafted}
    replies = sorted({line.quote.reply for line in lines if line.quote and line.quote.pk in taken})
    quoted = f", quoted in reply {', '.join(map(str, replies))}" if replies else ""
    return f"drafted from the list of what to order{quoted}"


@require_POST
@permission_required(MAY_ORDER, raise_exception=True)
def change_lines(request: HttpRequest, order: int) -> HttpResponse:
    """Put the lines of a draft right."""
    found = get_object_or_404(PurchaseOrder, pk=order)
    sheet, as_of = sheet_or_404(found.number), today()
    form = DraftLinesForm(sheet, doubts_now(as_of), request.POST)

    def change() -> str:
        key = form.request_key("draft lines", order, sheet.shows)
        change_draft(
            order=order, edits=form.edits(), by=cast(User, request.user), at=timezone.now(), today=as_of, key=key
        )
        return f"Order {found} is changed."

    return _done(request, found, form, change)


@require_POST
@permission_required(MAY_ORDER, raise_exception=True)
def send(request: HttpRequest, order: int) -> HttpResponse:
    """Say that a draft was sent to its supplier."""
    found = get_object_or_404(PurchaseOrder, pk=order)
    sheet, form = sheet_or_404(found.number), OrderSentForm(request.POST)

    def say_sent() -> str:
        sent = send_order(
            order=order,
            sent_on=form.cleaned_data["sent_on"],
            by=cast(User, request.user),
            at=timezone.now(),
            today=today(),
            key=form.request_key("send", order, sheet.shows),
        )
        return f"Order {sent} was sent to {sent.supplier}: the plan counts on its lines now."

    return _done(request, found, form, say_sent)


@require_POST
@permission_required(MAY_ORDER, raise_exception=True)
def cancel(request: HttpRequest, order: int) -> HttpResponse:
    """Cancel a draft."""
    found = get_object_or_404(PurchaseOrder, pk=order)
    form = KeyForm(request.POST)

    def give_up() -> str:
        key = form.request_key("cancel draft", order)
        cancel_draft(order=order, reason="", by=cast(User, request.user), at=timezone.now(), key=key)
        return f"Order {found} is cancelled; its number is not given again."

    return _done(request, found, form, give_up)


def _done(request: HttpRequest, order: PurchaseOrder, form: KeyForm, do: Callable[[], str]) -> HttpResponse:
    """Do what a form says and look at the order; what is refused stands on it with everything that was typed."""
    if form.is_valid():
        try:
            messages.success(request, do())
            return redirect("order", order.number)
        except Refusal as error:
            form.add_error(None, str(error))
    return render_order(request, order.number, form)
