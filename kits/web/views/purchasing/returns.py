"""What goes back to suppliers: refused at the door, sent back from quarantine, gone, credited."""

from __future__ import annotations

from collections.abc import Callable
from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from bom.errors import BomError
from kits.catalog.amounts import Amount, price_text
from kits.catalog.days.words import in_full
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.planning.queries import today
from kits.purchasing.models import SupplierReturn
from kits.purchasing.receiving.desk import desk_sheet, find_line
from kits.purchasing.returns.actions import note_credit, note_gone, refuse_at_door, send_back
from kits.purchasing.returns.line_of_lot import line_of_lot
from kits.purchasing.returns.return_list import SupplierReturnRow, return_list
from kits.stock.ledger import OnShelf, account_of
from kits.stock.models import Balance
from kits.stock.words import Condition
from kits.web.forms.ordering.returns import CreditForm, GoesBackForm, GoneForm, SendBackForm, beside
from kits.web.lists import list_answer, shown_list
from kits.web.request_keys import KeyForm
from kits.web.views.purchasing.front import MAY_PROMISE

MAY_POST = "stock.add_posting"
RETURNS: tuple[ListColumn[SupplierReturnRow], ...] = (
    ListColumn("number", "Return", lambda row: row.pk),
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("order", "Order", lambda row: f"{row.order}, {row.line}" if row.order else ""),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot_code),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("wrong", "What is wrong", lambda row: row.wrong),
    ListColumn("note", "Note", lambda row: row.note),
    ListColumn("again", "To be replaced", lambda row: "yes" if row.replaced else "no"),
    ListColumn("state", "State", lambda row: row.state),
    ListColumn("gone", "Gone", lambda row: row.gone_on),
    ListColumn("expected", "Credit expected", lambda row: row.credit_expected, figure=True),
    ListColumn("credit", "Credit received", lambda row: row.credit_received, figure=True),
    ListColumn("credited", "Credited", lambda row: row.credited_on),
)
SHOWN_RETURNS = tuple(
    column
    for column in RETURNS
    if column.name in {"number", "supplier", "order", "part", "quantity", "wrong", "state", "expected"}
)


@require_safe
def show_returns(request: HttpRequest) -> HttpResponse:
    """What is to go back, what has gone, and the credits."""
    everything = request.GET.get("show") == "all"
    rows = return_list(all_of_them=everything)
    if file := list_answer(request, "Returns", RETURNS, rows):
        return file
    context = {
        "list": shown_list(request, SHOWN_RETURNS, rows),
        "to_go": sum(row.state == "to go back" for row in rows),
        "to_credit": sum(row.state == "gone, credit expected" for row in rows),
        "everything": everything,
        "may_promise": request.user.has_perm(MAY_PROMISE),
        "as_of": today(),
        "door": "purchasing",
    }
    return render(request, "web/purchasing/returns.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@permission_required(MAY_POST, raise_exception=True)
def refuse(request: HttpRequest, line: int) -> HttpResponse:
    """What came of an order line and goes back at once, without lying here."""
    found = find_line(line)
    if found is None:
        raise Http404("There is no such order line.")
    sheet, as_of, refused = desk_sheet(found.item, found), today(), ""
    form = GoesBackForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            key = form.request_key("refuse", line, sheet.shows)
            back, by, at = form.goes_back(), cast(User, request.user), timezone.now()
            kept = refuse_at_door(order_line=line, back=back, by=by, at=at, today=as_of, key=key)
            messages.success(request, f"Return {kept.pk} is to go back to {kept.supplier}. Mark the box with it.")
            return redirect("receive")
        except BomError as error:
            refused = str(error)
    context = {"sheet": sheet, "form": form, "fields": beside(form), "refused": refused, "as_of": as_of}
    context["door"] = "storeroom"
    status = 409 if refused else 422 if form.errors else 200
    return render(request, "web/storeroom/refuse.html", context, status=status)


def may_send_back(request: HttpRequest) -> bool:
    """Whether somebody may send quarantine back: the storeroom, and purchasing, for whose word it waits."""
    return request.user.has_perm(MAY_POST) or request.user.has_perm(MAY_PROMISE)


@require_http_methods(["GET", "HEAD", "POST"])
def send(request: HttpRequest, balance: int) -> HttpResponse:
    """Pieces in quarantine that go back to whom they came from."""
    if not may_send_back(request):
        raise PermissionDenied
    held = get_object_or_404(Balance.objects.on_shelf().select_related("lot__item", "place"), pk=balance)
    if held.condition != Condition.QUARANTINE:
        raise Http404("Only what is in quarantine goes back.")
    line, as_of, refused = line_of_lot(held.lot), today(), ""
    form = SendBackForm(request.POST or None, initial={"quantity": held.quantity, "gone_on": as_of})
    if request.method == "POST" and form.is_valid():
        try:
            kept = send_back(
                source=cast(OnShelf, account_of(held)),
                back=form.goes_back(),
                gone_on=form.cleaned_data["gone_on"],
                by=cast(User, request.user),
                at=timezone.now(),
                today=as_of,
                key=form.request_key("send back", balance, held.quantity),
            )
            messages.success(request, f"Return {kept.pk} went back to {kept.supplier}.")
            return redirect("quarantine")
        except BomError as error:
            refused = str(error)
    context = {"held": held, "line": line, "form": form, "fields": beside(form), "refused": refused, "as_of": as_of}
    lies = Amount.of(held.quantity, held.lot.item.stock_unit)
    status = 409 if refused else 422 if form.errors else 200
    return render(
        request, "web/storeroom/send_back.html", {**context, "lies": lies, "door": "storeroom"}, status=status
    )


@require_POST
@permission_required(MAY_PROMISE, raise_exception=True)
def gone(request: HttpRequest, number: int) -> HttpResponse:
    """Say that something that was refused left."""
    found, form = get_object_or_404(SupplierReturn, pk=number), GoneForm(request.POST)

    def do() -> str:
        key, by = form.request_key("gone", number, found.gone_on), cast(User, request.user)
        on, at = form.cleaned_data["gone_on"], timezone.now()
        kept = note_gone(supplier_return=number, gone_on=on, by=by, at=at, today=today(), key=key)
        return f"Return {kept.pk} left on {in_full(on)}."

    return _done(request, form, do)


@require_POST
@permission_required(MAY_PROMISE, raise_exception=True)
def credit(request: HttpRequest, number: int) -> HttpResponse:
    """Keep the credit that came."""
    found, form = get_object_or_404(SupplierReturn, pk=number), CreditForm(request.POST)

    def do() -> str:
        kept = note_credit(
            supplier_return=number,
            credit=form.cleaned_data["credit"],
            credited_on=form.cleaned_data["credited_on"],
            by=cast(User, request.user),
            at=timezone.now(),
            today=today(),
            key=form.request_key("credit", number, found.credited_on),
        )
        return f"Return {kept.pk} is credited with {price_text(form.cleaned_data['credit'])} {kept.currency}."

    return _done(request, form, do)


def _done(request: HttpRequest, form: KeyForm, do: Callable[[], str]) -> HttpResponse:
    try:
        if form.is_valid():
            messages.success(request, do())
        else:
            messages.error(request, " ".join(str(says) for errors in form.errors.values() for says in errors))
    except BomError as error:
        messages.error(request, str(error))
    return redirect("returns")
