"""The storeroom's front page: what needs doing today, where to find anything, and what lies where."""

from __future__ import annotations

from typing import cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.people.sheet_rights import sheets_of
from kits.planning.queries import today
from kits.planning.sheets.storeroom_front import front_numbers
from kits.stock.lists.shelf_list import ShelfRow, shelf_rows
from kits.web.alike import alike_in
from kits.web.lists import list_answer, shown_list

COLUMNS: tuple[ListColumn[ShelfRow], ...] = (
    ListColumn("place", "Place", lambda row: row.place),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("what", "What it is", lambda row: row.what),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("last_use", "Last use", lambda row: row.last_use_on),
    ListColumn("known", "Remarks", lambda row: row.known),
)


ROWS_ON_FRONT = 25
"""So many rows of the shelf stand under what waits, on three screens."""


@require_safe
def show_storeroom(request: HttpRequest) -> HttpResponse:
    """What waits, and the shelf in walk order."""
    as_of = today()
    words, place = request.GET.get("q", "").strip(), request.GET.get("place", "").strip()
    rows = shelf_rows(words=words, place=place, today=as_of)
    if file := list_answer(request, "Shelf", COLUMNS, rows):
        return file
    shown = shown_list(request, COLUMNS, rows, ROWS_ON_FRONT)
    context = {
        "list": shown,
        "alike": alike_in(shown) if words or place else {},
        "words": words,
        "place": place,
        "front": None if words or place else front_numbers(today=as_of),
        "may_load": sheets_of(cast(User, request.user)),
        "as_of": as_of,
        "door": "storeroom",
    }
    return render(request, "web/storeroom.html", context)
