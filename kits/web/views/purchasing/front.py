"""Purchasing: what is on order, what has to be ordered by when, and what is offered."""

from __future__ import annotations

from typing import cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.catalog.queries import read_calendar, read_settings
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.people.sheet_rights import sheets_of
from kits.planning.lists.due_list import DueLine, due_list
from kits.planning.queries import plan_now, reading_of, today
from kits.purchasing.offer_list import OfferRow, count_lapsed, offer_list, suppliers_with_offers
from kits.purchasing.order_list import ComingLine, order_list
from kits.purchasing.rates.queries import read_rates
from kits.purchasing.replies.reply_list import reply_list
from kits.web.lists import list_answer, shown_list
from kits.web.views.faults import needs_plan

MAY_ORDER = "purchasing.add_orderline"
MAY_PROMISE = "purchasing.change_orderline"

ORDER_COLUMNS: tuple[ListColumn[ComingLine], ...] = (
    ListColumn("promised", "At our door", lambda row: row.promised_on),
    ListColumn("order", "Order", lambda row: row.order),
    ListColumn("line", "Line", lambda row: row.line),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("what", "Description", lambda row: row.what),
    ListColumn("quantity", "Still to come", lambda row: row.quantity, figure=True),
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("late", "Working days late", lambda row: row.days_late, figure=True),
    ListColumn("slips", "Promise changed", lambda row: row.slips),
)
SHOWN_ORDER_COLUMNS = tuple(
    column for column in ORDER_COLUMNS if column.name in {"promised", "order", "part", "quantity", "supplier", "slips"}
)
DUE_COLUMNS: tuple[ListColumn[DueLine], ...] = (
    ListColumn("by", "Order by", lambda row: row.order_by),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("for", "For", lambda row: row.why),
    ListColumn("short", "Short", lambda row: row.short, figure=True),
    ListColumn("packs", "Packs", lambda row: row.packs, figure=True),
    ListColumn("pack", "Pack", lambda row: row.pack_size, figure=True),
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("price", "Price", lambda row: row.price, figure=True),
    ListColumn("need", "First need", lambda row: row.need_on),
    ListColumn("here", "Here, if ordered today", lambda row: row.here_on),
)
OFFER_COLUMNS: tuple[ListColumn[OfferRow], ...] = (
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("number", "Supplier's number", lambda row: row.supplier_part_number),
    ListColumn("pack", "Pack", lambda row: row.pack_size, figure=True),
    ListColumn("minimum", "Minimum packs", lambda row: row.minimum_packs, figure=True),
    ListColumn("multiple", "Multiple of", lambda row: row.multiple_packs, figure=True),
    ListColumn("from", "Price from packs", lambda row: row.price_from_packs, figure=True),
    ListColumn("price", "Price per pack", lambda row: row.price_per_pack, figure=True),
    ListColumn("currency", "Currency", lambda row: row.currency),
    ListColumn("home", "In the shop's money", lambda row: row.abroad.home_price if row.abroad else None, figure=True),
    ListColumn("lead", "Lead, working days", lambda row: row.lead_days, figure=True),
    ListColumn("quoted", "Quoted", lambda row: row.quoted_on),
    ListColumn("valid", "Valid to", lambda row: row.valid_to_on),
)
SHOWN_OFFER_COLUMNS = tuple(column for column in OFFER_COLUMNS if column.name not in {"number", "currency", "home"})


@require_safe
def show_purchasing(request: HttpRequest) -> HttpResponse:
    """Open order lines, the overdue ones first."""
    as_of = today()
    orders = order_list(
        today=as_of,
        calendar=read_calendar(read_settings()),
        supplier=request.GET.get("supplier", ""),
        order=request.GET.get("order", ""),
    )
    answer = list_answer(request, "Open orders", ORDER_COLUMNS, orders.rows)
    if answer is not None:
        return answer
    context = {
        "orders": orders,
        "list": shown_list(request, SHOWN_ORDER_COLUMNS, orders.rows),
        "waiting": sum(reply.open for reply in reply_list()),
        "may_load": sheets_of(cast(User, request.user)),
        "as_of": as_of,
        "door": "purchasing",
    }
    return render(request, "web/purchasing.html", context)


@require_safe
@needs_plan
def show_due(request: HttpRequest) -> HttpResponse:
    """What has to be ordered, by the day by which."""
    plan = plan_now()
    everything = due_list(plan)
    supplier = request.GET.get("supplier", "")
    rows = [row for row in everything if not supplier or row.supplier == supplier]
    answer = list_answer(request, "Order by", DUE_COLUMNS, rows)
    if answer is not None:
        return answer
    context = {
        "list": shown_list(request, DUE_COLUMNS, rows),
        "supplier": supplier,
        "suppliers": sorted({row.supplier for row in everything if row.supplier}),
        "due": sum(row.is_due for row in rows),
        "undated": sum(row.need_on is not None and row.order_by is None for row in rows),
        "asks": bool(reading_of(plan).askers),
        "currency": read_settings().currency,
        "may_order": request.user.has_perm(MAY_ORDER),
        "as_of": plan.shop.as_of,
        "door": "purchasing",
    }
    return render(request, "web/purchasing/due.html", context)


@require_safe
def show_offers(request: HttpRequest) -> HttpResponse:
    """Offers with their price breaks."""
    as_of, supplier, part = today(), request.GET.get("supplier", ""), request.GET.get("part", "").strip()
    rows = offer_list(rates=read_rates(as_of), supplier=supplier, part=part)
    answer = list_answer(request, "Offers", OFFER_COLUMNS, rows)
    if answer is not None:
        return answer
    context = {
        "list": shown_list(request, SHOWN_OFFER_COLUMNS, rows),
        "suppliers": suppliers_with_offers(),
        "supplier": supplier,
        "part": part,
        "lapsed": count_lapsed(today=as_of, supplier=supplier, part=part),
        "as_of": as_of,
        "door": "purchasing",
    }
    return render(request, "web/purchasing/offers.html", context)
