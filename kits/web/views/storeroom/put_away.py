"""Put away: what waits on staging shelves and what lies away from home, by its button or bin by bin with a scanner."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from bom.errors import BomError
from kits.catalog.errors import Refusal
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.picking.scanning.photo import CAN_READ_PHOTOS
from kits.picking.scanning.scanned_here import lot_to_put_away, place_named
from kits.planning.queries import today
from kits.stock.actions import move_stock
from kits.stock.ledger import OnShelf
from kits.stock.lists.account import AccountSheet, account_sheet
from kits.stock.lists.put_away import AwayRow, away_rows
from kits.stock.models import Place
from kits.web.alike import alike_in
from kits.web.forms.picking import ScanForm
from kits.web.lists import list_answer, shown_list
from kits.web.page_number import is_number
from kits.web.request_keys import KeyForm, refuse_foreign

MAY_POST = "stock.add_posting"
AWAY: tuple[ListColumn[AwayRow], ...] = (
    ListColumn("place", "Now at", lambda row: row.place),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("home", "Home bin", lambda row: row.home),
)


@require_safe
def show_put_away(request: HttpRequest) -> HttpResponse:
    """What waits on staging shelves, and what lies away from its home bin; a scanned bin is the one to put into."""
    if code := request.GET.get("code", "").strip():
        try:
            return redirect(f"{reverse('put_away')}?into={place_named(code).pk}")
        except Refusal as error:
            messages.error(request, str(error))
            return redirect("put_away")
    asked = request.GET.get("into", "")
    into = get_object_or_404(Place, pk=int(asked)) if is_number(asked) else None
    rows = away_rows()
    if "waits" in request.GET:
        rows = [row for row in rows if row.waits]
    if into is not None:
        rows = [row for row in rows if row.home_id == into.pk or not row.home]
    if file := list_answer(request, "Put away", AWAY, rows):
        return file
    shown = shown_list(request, AWAY, rows)
    context = {"list": shown, "into": into, "waits": sum(row.waits for row in rows), "alike": alike_in(shown)}
    camera = {"reads_photos": CAN_READ_PHOTOS, "read_at": reverse("read_code")}
    around = {"may_post": request.user.has_perm(MAY_POST), "as_of": today(), "door": "storeroom"}
    return render(request, "web/storeroom/put_away.html", context | around | camera)


@require_POST
@permission_required(MAY_POST, raise_exception=True)
def put_away(request: HttpRequest, balance: int) -> HttpResponse:
    """Put all of one account into its home bin."""
    sheet, form = account_sheet(balance, today=today()), KeyForm(request.POST)
    if sheet is None:
        raise Http404("There is no such account of the shelf.")
    try:
        if sheet.home_id is None:
            raise Refusal("It has no home bin that is a place of the shop: move it by hand.")
        refuse_foreign(form)
        key = form.request_key("away", balance, sheet.quantity.millionths, sheet.home_id)
        move_into(request, sheet, sheet.home_id, key)
        messages.success(request, f"{sheet.lot} lies in its home bin.")
    except BomError as error:
        messages.error(request, str(error))
    return redirect("put_away")


@require_POST
@permission_required(MAY_POST, raise_exception=True)
def put_into(request: HttpRequest, place: int) -> HttpResponse:
    """Put a scanned lot into the bin that was scanned before; one that belongs elsewhere stays where it is."""
    into, form = get_object_or_404(Place, pk=place), ScanForm(request.POST, request.FILES)
    try:
        refuse_foreign(form)
        key, again = form.request_key("into", place, at_once=True), form.is_repeat("into", place)
        if not again:
            row = lot_to_put_away(away_rows(), into, form.said())
            sheet = account_sheet(row.balance_id, today=today())
            if sheet is None:
                raise Refusal("It is gone from there meanwhile. Nothing was moved.")
            move_into(request, sheet, into.pk, key)
            messages.success(
                request, f"{row.quantity.text} of {sheet.lot} lie in {into}. The next packet, or another bin?"
            )
    except BomError as error:
        messages.error(request, str(error))
    return redirect(f"{reverse('put_away')}?into={place}")


def move_into(request: HttpRequest, sheet: AccountSheet, place_id: int, key: str) -> None:
    """Move all of an account to a place; nothing, where nothing lies there any more."""
    if sheet.quantity:
        move_stock(
            source=sheet.account,
            target=OnShelf(sheet.lot.pk, place_id, sheet.account.condition, sheet.account.packet),
            quantity=sheet.quantity.millionths,
            reason="put away",
            by=cast(User, request.user),
            at=timezone.now(),
            key=key,
        )
