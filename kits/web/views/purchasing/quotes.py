"""Quotes and refusals: what suppliers replied and somebody accepted, and what became of it."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.planning.queries import today
from kits.purchasing.models import SupplierQuote
from kits.purchasing.rates.queries import read_rates
from kits.purchasing.replies.actions import drop_quote
from kits.purchasing.replies.quote_list import QuoteRow, quote_list, suppliers_with_quotes
from kits.web.lists import list_answer, shown_list
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.purchasing.front import MAY_ORDER

COLUMNS: tuple[ListColumn[QuoteRow], ...] = (
    ListColumn("quoted", "Quoted", lambda row: row.quoted_on),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("what", "Description", lambda row: row.what),
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("price", "Price per pack", lambda row: row.price_says, figure=True),
    ListColumn("home", "In the shop's money", lambda row: row.abroad.home_price if row.abroad else None, figure=True),
    ListColumn("pack", "Pack", lambda row: row.pack_size, figure=True),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("promised", "Promised", lambda row: row.promised_on),
    ListColumn("valid", "Valid to", lambda row: row.valid_to_on),
    ListColumn("state", "What became of it", lambda row: row.state),
    ListColumn("note", "Note", lambda row: row.note),
)
SHOWN_COLUMNS = tuple(column for column in COLUMNS if column.name not in {"what", "note", "home"})


@require_safe
def show_quotes(request: HttpRequest) -> HttpResponse:
    """Quotes and refusals, the latest first."""
    as_of, supplier, waiting = today(), request.GET.get("supplier", ""), request.GET.get("show") == "waiting"
    rows = quote_list(rates=read_rates(as_of), supplier=supplier, waiting=waiting)
    answer = list_answer(request, "Quotes", COLUMNS, rows)
    if answer is not None:
        return answer
    context = {
        "list": shown_list(request, SHOWN_COLUMNS, rows),
        "suppliers": suppliers_with_quotes(),
        "supplier": supplier,
        "waiting": waiting,
        "to_order": SupplierQuote.objects.waiting().count(),
        "may_order": request.user.has_perm(MAY_ORDER),
        "as_of": as_of,
        "door": "purchasing",
    }
    return render(request, "web/purchasing/quotes.html", context)


@require_POST
@permission_required(MAY_ORDER, raise_exception=True)
def drop(request: HttpRequest, quote: int) -> HttpResponse:
    """Decide that a quote is not ordered."""
    found, form = get_object_or_404(SupplierQuote, pk=quote), KeyForm(request.POST)
    try:
        refuse_foreign(form)
        key = form.request_key("drop", quote)
        dropped = drop_quote(quote=found.pk, key=key, by=cast(User, request.user), at=timezone.now())
        messages.success(request, f"{dropped} is not to be ordered.")
    except Refusal as error:
        messages.error(request, str(error))
    return redirect("quotes")
