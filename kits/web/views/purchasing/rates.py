"""Rates of exchange: what other money is worth in the shop's, day by day."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from kits.catalog.errors import Refusal
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.planning.queries import today
from kits.purchasing.rates.actions import type_rate
from kits.purchasing.rates.queries import RateRow, currencies_sheet, rate_list, read_rates
from kits.web.forms.buying.rates import RateForm
from kits.web.lists import list_answer, shown_list

MAY_RATE = "purchasing.add_exchangerate"
COLUMNS: tuple[ListColumn[RateRow], ...] = (
    ListColumn("from", "From", lambda row: row.from_on),
    ListColumn("currency", "One", lambda row: row.currency),
    ListColumn("rate", "Is", lambda row: row.rate.normalize(), figure=True),
    ListColumn("home", "In", lambda row: row.home),
    ListColumn("state", "Today", lambda row: row.state),
    ListColumn("source", "Stated by", lambda row: row.source),
    ListColumn("by", "Typed by", lambda row: row.by),
    ListColumn("at", "Typed at", lambda row: row.at),
)
SHOWN_COLUMNS = tuple(column for column in COLUMNS if column.name != "at")


@require_http_methods(["GET", "HEAD", "POST"])
def show_rates(request: HttpRequest) -> HttpResponse:
    """Which rate serves each currency today, every rate that was typed, and the form for one more."""
    as_of, may_write = today(), request.user.has_perm(MAY_RATE)
    if request.method == "POST" and not may_write:
        raise PermissionDenied
    rates = read_rates(as_of)
    rows = rate_list(rates)
    if (answer := list_answer(request, "Exchange rates", COLUMNS, rows)) is not None:
        return answer
    form = RateForm(rates, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            said = {name: form.cleaned_data[name] for name in ("currency", "rate", "from_on", "source")}
            key = form.request_key("rate")
            type_rate(**said, by=cast(User, request.user), at=timezone.now(), today=as_of, key=key)
            messages.success(request, f"1 {said['currency']} is {said['rate']} {rates.home} from {said['from_on']} on.")
            return redirect("exchange_rates")
        except Refusal as error:
            form.add_error(None, str(error))
    context = {
        "list": shown_list(request, SHOWN_COLUMNS, rows),
        "sheet": currencies_sheet(rates),
        "form": form,
        "may_write": may_write,
        "as_of": as_of,
        "door": "purchasing",
    }
    return render(request, "web/purchasing/rates.html", context, status=422 if form.errors else 200)
