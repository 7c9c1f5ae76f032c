"""Quotes compared: the cheapest set over the whole list, and everything that is offered, part by part."""

from __future__ import annotations

import hashlib
from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from kits.catalog.errors import Refusal
from kits.catalog.queries import read_settings
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.planning.buying.bids import ANSWERED, ON_RECORD
from kits.planning.buying.comparison import (
    LEAST_LATE,
    NONE_LATE,
    BidRow,
    QuoteComparison,
    SetLine,
    begin_comparison,
    chosen_lines,
)
from kits.planning.queries import plan_now
from kits.purchasing.orders.actions import draft_orders
from kits.web.lists import list_answer, shown_list
from kits.web.request_keys import KeyForm, refuse_foreign
from kits.web.views.faults import needs_plan
from kits.web.views.long_work import LongWork, is_watched, patience_for, show_done, show_work
from kits.web.views.purchasing.front import MAY_ORDER

SET_COLUMNS: tuple[ListColumn[SetLine], ...] = (
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("packs", "Packs", lambda row: row.packs, figure=True),
    ListColumn("price", "Price", lambda row: row.price, figure=True),
    ListColumn("charges", "Charges", lambda row: row.charges or None, figure=True),
    ListColumn("here", "Here on", lambda row: row.arrives_on),
    ListColumn("need", "Needed", lambda row: row.need_on),
    ListColumn("late", "Jobs it makes late", lambda row: ", ".join(row.late_jobs)),
    ListColumn("over", "Over after packs", lambda row: row.over),
)
MORE_OF_SET: tuple[ListColumn[SetLine], ...] = (
    ListColumn("what", "What it is", lambda row: row.what),
    ListColumn("number", "Supplier's number", lambda row: row.supplier_part_number),
    ListColumn("pack", "Pack", lambda row: row.pack_size),
    ListColumn("quantity", "Quantity", lambda row: row.quantity),
    ListColumn("each", "Price per pack", lambda row: row.price_per_pack),
    ListColumn("source", "From", lambda row: row.source),
)
BID_COLUMNS: tuple[ListColumn[BidRow], ...] = (
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("packs", "Packs", lambda row: row.packs, figure=True),
    ListColumn("each", "Price per pack", lambda row: row.price_per_pack, figure=True),
    ListColumn("price", "Price", lambda row: row.price, figure=True),
    ListColumn("charges", "Charges", lambda row: row.charges or None, figure=True),
    ListColumn("landed", "At our door", lambda row: row.landed, figure=True),
    ListColumn("here", "Here on", lambda row: row.arrives_on),
    ListColumn("late", "Jobs it makes late", lambda row: ", ".join(row.late_jobs)),
    ListColumn("says", "To know", lambda row: row.says),
)
MORE_OF_BIDS: tuple[ListColumn[BidRow], ...] = (
    ListColumn("what", "What it is", lambda row: row.what),
    ListColumn("wanted", "Wanted", lambda row: row.wanted),
    ListColumn("need", "Needed", lambda row: row.need_on),
    ListColumn("pack", "Pack", lambda row: row.pack_size),
    ListColumn("one", "At our door, one", lambda row: row.landed_each),
    ListColumn("days", "Working days late", lambda row: row.late),
    ListColumn("over", "Over after packs", lambda row: row.over),
    ListColumn("chosen", "In the cheapest set", lambda row: "yes" if row.chosen else ""),
)


WORK = LongWork(
    title="Compare quotes",
    doing="Quotes are being compared.",
    steps="The steps: read what everybody offers, look for the cheapest set, see which jobs each delivery makes late. "
    "With many parts and suppliers that takes some ten seconds.",
    door="purchasing",
    back="purchasing",
    back_says="Purchasing",
)


@require_safe
@needs_plan
def compare_quotes(request: HttpRequest) -> HttpResponse:
    """The cheapest set over the whole list, beside choosing line by line."""
    found, context = _compared(request)
    if found is None or "work" in request.GET:
        return _at_work(request, context)
    answer = list_answer(request, "Cheapest set", (*SET_COLUMNS, *MORE_OF_SET), found.lines)
    if answer is not None:
        return answer
    context["list"] = shown_list(request, SET_COLUMNS, found.lines, more=MORE_OF_SET)
    return render(request, "web/purchasing/comparison.html", context)


@require_safe
@needs_plan
def compare_parts(request: HttpRequest) -> HttpResponse:
    """Who offers what, part by part."""
    found, context = _compared(request)
    if found is None or "work" in request.GET:
        return _at_work(request, context)
    answer = list_answer(request, "Bids by part", (*BID_COLUMNS, *MORE_OF_BIDS), found.bids)
    if answer is not None:
        return answer
    context["list"] = shown_list(request, BID_COLUMNS, found.bids, more=MORE_OF_BIDS)
    return render(request, "web/purchasing/comparison_parts.html", context)


@require_POST
@permission_required(MAY_ORDER, raise_exception=True)
@needs_plan
def order_chosen(request: HttpRequest) -> HttpResponse:
    """Draft orders from the ticked lines of the cheapest set, one for each supplier."""
    form = KeyForm(request.POST)
    if form.is_repeat("choose"):
        return redirect("purchasing")
    found, context = _compared(request)
    plan = plan_now()
    try:
        if found is None:
            raise Refusal("What was compared is too old by now, so quotes are compared anew: look at them, then draft.")
        refuse_foreign(form)
        drafted = draft_orders(
            lines=chosen_lines(found, request.POST.getlist("line"), plan.shop.as_of),
            numbers={},
            reason="chosen from the comparison of quotes",
            by=cast(User, request.user),
            at=timezone.now(),
            today=plan.shop.as_of,
            key=form.request_key("choose", "", context["shows"]),
        )
        for order in drafted:
            messages.success(request, f"Order {order.number} to {order.supplier} is drafted: look at it, then send it.")
        return redirect("purchasing")
    except Refusal as error:
        messages.error(request, str(error))
    return redirect(f"{reverse('compare_quotes')}?whose={context['whose']}&late={context['late']}&latest=1")


def _at_work(request: HttpRequest, context: dict[str, Any]) -> HttpResponse:
    begun = context["begun"]
    return show_work(request, begun, WORK) if not begun.future.done() else show_done(request)


def _compared(request: HttpRequest) -> tuple[QuoteComparison | None, dict[str, Any]]:
    """What the address asks to compare; None while it is worked out."""
    plan = plan_now()
    asked = request.POST if request.method == "POST" else request.GET
    whose = ON_RECORD if asked.get("whose") == ON_RECORD else ANSWERED
    late = NONE_LATE if asked.get("late") == NONE_LATE else LEAST_LATE
    # Nothing is drafted of what was overtaken, and a file cannot say how far it is: both wait.
    drafts = request.method == "POST"
    begun = begin_comparison(plan, whose, late, patience=patience_for(request), latest=drafts or "latest" in asked)
    found = None if is_watched(request) and begun.failed else begun.answer
    shows = "; ".join(f"{line.name} {line.packs} {line.price_per_pack}" for line in found.lines) if found else ""
    return found, {
        "begun": begun,
        "found": found,
        "shows": hashlib.sha256(f"{whose} {late} {shows}".encode()).hexdigest()[:16],
        "whose": whose,
        "late": late,
        "currency": read_settings().currency,
        "may_order": request.user.has_perm(MAY_ORDER),
        "may_ask": request.user.has_perm("purchasing.add_pricerequest"),
        "as_of": plan.shop.as_of,
        "door": "purchasing",
    }
