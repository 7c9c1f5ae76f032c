"""Enter an order from what has to be bought; one order line with its promise and how it moved."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from kits.catalog.days.doubts import doubts_now
from kits.catalog.errors import Refusal
from kits.catalog.queries import read_calendar, read_settings
from kits.people.models import User
from kits.planning.lists.order_rows import order_rows
from kits.planning.queries import plan_now, today
from kits.purchasing.actions import change_promise, place_order
from kits.purchasing.models import Supplier
from kits.purchasing.order_line_sheet import order_line_sheet
from kits.web.forms.purchasing import OrderForm, PromiseForm
from kits.web.views.faults import needs_plan
from kits.web.views.purchasing.front import MAY_ORDER, MAY_PROMISE


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_ORDER, raise_exception=True)
@needs_plan
def enter_order(request: HttpRequest) -> HttpResponse:
    """Tick what to order from one supplier; quantities and days are those that he quoted, else those of the plan."""
    supplier = Supplier.objects.by_name(request.GET.get("supplier", ""))
    if supplier is None:
        raise Http404("There is no supplier of this name.")
    plan = plan_now()
    lines = order_rows(plan, supplier)
    form = OrderForm(lines, doubts_now(plan.shop.as_of), request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            placed = place_order(
                order=form.cleaned_data["order"].strip(),
                supplier=supplier,
                lines=form.new_lines(),
                reason=_from_what(form),
                by=cast(User, request.user),
                at=timezone.now(),
                today=plan.shop.as_of,
                key=form.request_key("order", supplier.pk),
            )
            count = f"{len(placed)} line{'' if len(placed) == 1 else 's'}"
            messages.success(request, f"Order {placed[0].order} is entered with {count}: tell {supplier}.")
            return redirect("due_orders")
        except Refusal as error:
            form.add_error(None, str(error))
    context = {"form": form, "supplier": supplier, "as_of": plan.shop.as_of, "door": "purchasing"}
    return render(request, "web/purchasing/order.html", context, status=422 if form.errors else 200)


def _from_what(form: OrderForm) -> str:
    """Where an order comes from, as its lines tell it later."""
    replies = sorted({line.quote.reply for line in form.lines if line.quote and form.cleaned_data[f"take-{line.name}"]})
    quoted = f", quoted in reply {', '.join(map(str, replies))}" if replies else ""
    return f"entered from the list of what to order{quoted}"


@require_safe
def show_line(request: HttpRequest, line: int) -> HttpResponse:
    """One order line."""
    return render_line(request, line, PromiseForm(doubts_now()))


@require_POST
@permission_required(MAY_PROMISE, raise_exception=True)
def move_promise(request: HttpRequest, line: int) -> HttpResponse:
    """Give an order line another day."""
    form = PromiseForm(doubts_now(), request.POST)
    if form.is_valid():
        try:
            change = change_promise(
                order_line=line,
                promised_on=form.cleaned_data["promised_on"],
                reason=form.cleaned_data["reason"],
                by=cast(User, request.user),
                at=timezone.now(),
                today=today(),
                key=form.request_key("promise", line),
            )
            messages.success(request, f"The promise was moved from {change.was_on} to {change.promised_on}.")
            return redirect("order_line", line=line)
        except Refusal as error:
            form.add_error("promised_on", str(error))
    return render_line(request, line, form)


def render_line(request: HttpRequest, line: int, form: PromiseForm) -> HttpResponse:
    """The page of an order line."""
    as_of = today()
    sheet = order_line_sheet(line, as_of, read_calendar(read_settings()))
    if sheet is None:
        raise Http404("There is no such order line.")
    context = {
        "sheet": sheet,
        "form": form,
        "may_promise": request.user.has_perm(MAY_PROMISE),
        "as_of": as_of,
        "door": "purchasing",
    }
    return render(request, "web/purchasing/line.html", context, status=422 if form.errors else 200)
