"""The storeroom: what lies where."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.planning.queries import today
from kits.stock.shelf_list import shelf_list
from kits.web.page_number import page_number


@require_safe
def show_storeroom(request: HttpRequest) -> HttpResponse:
    """The shelf in walk order."""
    as_of = today()
    words, place = request.GET.get("q", "").strip(), request.GET.get("place", "").strip()
    shelf = shelf_list(words=words, place=place, page=page_number(request), today=as_of)
    return render(request, "web/storeroom.html", {"shelf": shelf, "as_of": as_of, "door": "storeroom"})
