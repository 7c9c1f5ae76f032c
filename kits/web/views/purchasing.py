"""Purchasing: what is on order, and what of it has not come."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.catalog.queries import read_calendar, read_settings
from kits.planning.queries import today
from kits.purchasing.order_list import order_list


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
    return render(request, "web/purchasing.html", {"orders": orders, "as_of": as_of, "door": "purchasing"})
