"""Orders: the list of them, one with its lines and what it comes to, and the paper that goes to the supplier."""

from __future__ import annotations

from decimal import Decimal

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.catalog.days.doubts import doubts_now
from kits.catalog.queries import ShopSettings, read_settings
from kits.exchange.workbooks.list_export import ListColumn
from kits.planning.buying.order_holds import order_holds
from kits.planning.queries import plan_now, today
from kits.purchasing.orders.order_sheet import OrderSheet, order_sheet, order_sheets
from kits.purchasing.orders.states import OrderState
from kits.purchasing.rates.queries import read_rates
from kits.web.forms.ordering.drafts import DraftLinesForm, OrderSentForm
from kits.web.lists import list_answer, shown_list
from kits.web.request_keys import KeyForm
from kits.web.views.faults import needs_plan
from kits.web.views.purchasing.front import MAY_ORDER

ORDERS: tuple[ListColumn[OrderSheet], ...] = (
    ListColumn("order", "Order", lambda row: row.number),
    ListColumn("supplier", "Supplier", lambda row: row.supplier.supplier),
    ListColumn("state", "State", lambda row: str(row.state)),
    ListColumn("lines", "Lines", lambda row: len(row.lines), figure=True),
    ListColumn("unconfirmed", "Not confirmed", lambda row: row.to_confirm, figure=True),
    ListColumn("late", "Past their promise", lambda row: row.late, figure=True),
    ListColumn("next", "Next at our door", lambda row: row.next_on),
    ListColumn("sent", "Sent", lambda row: row.order.sent_on if row.order else None),
    ListColumn("total", "Total", lambda row: _total(row), figure=True),
    ListColumn("currency", "Currency", lambda row: row.currency),
)
SHOWN_ORDERS = tuple(column for column in ORDERS if column.name != "currency")


def _total(row: OrderSheet) -> Decimal | None:
    return row.total.total if row.total else None


@require_safe
def show_orders(request: HttpRequest) -> HttpResponse:
    """Orders of which something is to come, or all of them, those of one state if it is named."""
    as_of, everything, state = today(), request.GET.get("show") == "all", request.GET.get("state", "")
    rows = [row for row in order_sheets(as_of, all_of_them=everything) if not state or row.state == state]
    answer = list_answer(request, "Orders", ORDERS, rows)
    if answer is not None:
        return answer
    context = {
        "list": shown_list(request, SHOWN_ORDERS, rows),
        "drafts": sum(row.is_draft for row in rows),
        "unconfirmed": sum(row.to_confirm > 0 for row in rows),
        "everything": everything,
        "state": state,
        "states": [str(one) for one in OrderState],
        "may_order": request.user.has_perm(MAY_ORDER),
        "as_of": as_of,
        "door": "purchasing",
    }
    return render(request, "web/purchasing/orders.html", context)


@require_safe
@needs_plan
def show_order(request: HttpRequest, number: str) -> HttpResponse:
    """One order."""
    return render_order(request, number, None)


@require_safe
def print_order(request: HttpRequest, number: str) -> HttpResponse:
    """The paper that goes to the supplier."""
    sheet, settings = own_sheet_or_404(number), read_settings()
    context = {
        "sheet": sheet,
        "shop_name": settings.text("shop_name"),
        "shop_lines": shop_lines(settings),
        "as_of": today(),
        "door": "purchasing",
    }
    return render(request, "web/purchasing/order_print.html", context)


def shop_lines(settings: ShopSettings) -> list[str]:
    """Where the shop is and whom to ask there, line by line."""
    texts = (*settings.text("shop_address").split(";"), *settings.text("shop_contact").split(";"))
    return [text.strip() for text in texts if text.strip()]


def sheet_or_404(number: str) -> OrderSheet:
    """The order of a number."""
    sheet = order_sheet(number, today())
    if sheet is None:
        raise Http404("There is no order of this number.")
    return sheet


def own_sheet_or_404(number: str) -> OrderSheet:
    """The order of a number, if it has packs and prices."""
    sheet = sheet_or_404(number)
    if sheet.order is None:
        raise Http404("This order came in by a list, without packs and prices.")
    return sheet


def render_order(request: HttpRequest, number: str, form: KeyForm | None) -> HttpResponse:
    """The page of an order, with a form that was sent and refused, if any."""
    sheet, plan = sheet_or_404(number), plan_now()
    as_of = plan.shop.as_of
    may_order = request.user.has_perm(MAY_ORDER)
    lines = form if isinstance(form, DraftLinesForm) else DraftLinesForm(sheet, doubts_now(as_of))
    rows = [
        (line, holds, *(lines.fields_of(line) if sheet.is_draft and may_order else (None, None, None)))
        for line, holds in order_holds(plan, sheet)
    ]
    context = {
        "sheet": sheet,
        "rows": rows,
        "lines_form": lines,
        "both": read_rates(as_of).in_both(sheet.total.total, sheet.currency) if sheet.total else None,
        "send_form": form if isinstance(form, OrderSentForm) else OrderSentForm(initial={"sent_on": as_of}),
        "refused": form.non_field_errors() if form is not None and form.is_bound else (),
        "may_order": may_order,
        "as_of": as_of,
        "door": "purchasing",
    }
    status = 422 if form is not None and form.errors else 200
    return render(request, "web/purchasing/order.html", context, status=status)
