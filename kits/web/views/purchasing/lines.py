"""One order line: its promise and how it moved, what was changed of it, and who was asked about it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from kits.catalog.amounts import price_text
from kits.catalog.days.doubts import doubts_now
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.queries import read_calendar, read_settings
from kits.people.models import User
from kits.planning.queries import today
from kits.purchasing.actions import change_promise
from kits.purchasing.lines.actions import cancel_line, change_line, log_call, split_line
from kits.purchasing.order_line_sheet import OrderLineSheet, order_line_sheet
from kits.web.forms.ordering.lines import LineCallForm, LineCancelForm, LineChangeForm, LineSplitForm
from kits.web.forms.purchasing import PromiseForm
from kits.web.request_keys import KeyForm
from kits.web.views.purchasing.front import MAY_PROMISE

Said = dict[str, Any]


@require_safe
def show_line(request: HttpRequest, line: int) -> HttpResponse:
    """One order line."""
    return render_line(request, line, None)


@require_POST
@permission_required(MAY_PROMISE, raise_exception=True)
def move_promise(request: HttpRequest, line: int) -> HttpResponse:
    """Give an order line another day."""

    def do(said: Said, by: User, at: datetime, key: str) -> str:
        change = change_promise(
            order_line=line,
            promised_on=said["promised_on"],
            reason=said["reason"],
            by=by,
            at=at,
            today=today(),
            key=key,
        )
        return f"The promise was moved from {in_full(change.was_on)} to {in_full(change.promised_on)}."

    return _done(request, line, PromiseForm(doubts_now(), request.POST), "promise", do)


@require_POST
@permission_required(MAY_PROMISE, raise_exception=True)
def change(request: HttpRequest, line: int) -> HttpResponse:
    """Order other packs, or at another price."""

    def do(said: Said, by: User, at: datetime, key: str) -> str:
        changed = change_line(
            order_line=line,
            packs=said["packs"],
            quantity=said["quantity"],
            price_per_pack=said["price"],
            reason=said["reason"],
            by=by,
            at=at,
            key=key,
        )
        return f"{changed} is changed; what it said before stands in its history."

    return _done(request, line, LineChangeForm(request.POST), "change line", do)


@require_POST
@permission_required(MAY_PROMISE, raise_exception=True)
def split(request: HttpRequest, line: int) -> HttpResponse:
    """Let some of a line come on another day."""

    def do(said: Said, by: User, at: datetime, key: str) -> str:
        other = split_line(
            order_line=line,
            quantity=said["quantity"],
            promised_on=said["promised_on"],
            reason=said["reason"],
            by=by,
            at=at,
            today=today(),
            key=key,
        )
        return f"What comes on {in_full(other.promised_on)} is line {other.line} of the order now."

    return _done(request, line, LineSplitForm(doubts_now(), request.POST), "split line", do)


@require_POST
@permission_required(MAY_PROMISE, raise_exception=True)
def cancel(request: HttpRequest, line: int) -> HttpResponse:
    """Cancel what is still to come of a line."""

    def do(said: Said, by: User, at: datetime, key: str) -> str:
        cancelled = cancel_line(order_line=line, reason=said["reason"], by=by, at=at, key=key)
        return f"{cancelled}: nothing more of it is to come."

    return _done(request, line, LineCancelForm(request.POST), "cancel line", do)


@require_POST
@permission_required(MAY_PROMISE, raise_exception=True)
def call(request: HttpRequest, line: int) -> HttpResponse:
    """Keep what was said about a line."""

    def do(said: Said, by: User, at: datetime, key: str) -> str:
        kept = log_call(
            order_line=line,
            asked=said["asked"],
            said=said["said"],
            next_call_on=said["next_call_on"],
            by=by,
            at=at,
            today=today(),
            key=key,
        )
        return f"Kept: {kept.asked} was asked." + (
            f" Next call on {in_full(kept.next_call_on)}." if kept.next_call_on else ""
        )

    return _done(request, line, LineCallForm(request.POST), "call", do)


def _done(
    request: HttpRequest, line: int, form: KeyForm, kind: str, do: Callable[[Said, User, datetime, str], str]
) -> HttpResponse:
    """Do what a form says and look at the line; what is refused stands on it with everything that was typed."""
    if form.is_valid():
        shows = () if kind == "promise" else (sheet_or_404(line, today()).shows,)
        try:
            key = form.request_key(kind, line, *shows)
            messages.success(request, do(form.cleaned_data, cast(User, request.user), timezone.now(), key))
            return redirect("order_line", line=line)
        except Refusal as error:
            form.add_error("promised_on" if kind == "promise" else None, str(error))
    return render_line(request, line, form)


def sheet_or_404(line: int, as_of: date) -> OrderLineSheet:
    """The sheet of an order line."""
    sheet = order_line_sheet(line, as_of, read_calendar(read_settings()))
    if sheet is None:
        raise Http404("There is no such order line.")
    return sheet


def render_line(request: HttpRequest, line: int, form: KeyForm | None) -> HttpResponse:
    """The page of an order line, with a form that was sent and refused, if any."""
    as_of = today()
    sheet, odd = sheet_or_404(line, as_of), doubts_now(as_of)
    price = None if sheet.price_per_pack is None else price_text(sheet.price_per_pack)
    start = {"packs": sheet.packs, "price": price, "quantity": sheet.quantity.millionths}
    forms: dict[str, KeyForm] = {
        "form": PromiseForm(odd),
        "change_form": LineChangeForm(initial=start),
        "split_form": LineSplitForm(odd),
        "cancel_form": LineCancelForm(),
        "call_form": LineCallForm(),
    }
    forms |= {name: form for name, empty in forms.items() if form is not None and type(empty) is type(form)}
    context = {
        "sheet": sheet,
        **forms,
        "refused": type(form).__name__ if form is not None and form.errors else "",
        "may_promise": request.user.has_perm(MAY_PROMISE),
        "as_of": as_of,
        "door": "purchasing",
    }
    return render(request, "web/purchasing/line.html", context, status=422 if context["refused"] else 200)
