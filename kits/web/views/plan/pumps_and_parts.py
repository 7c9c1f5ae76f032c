"""Pumps and parts: everything that has a number."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.catalog.item_list import item_list
from kits.catalog.models import Item
from kits.catalog.words import ItemKind
from kits.exchange.workbooks.list_export import ListColumn
from kits.web.lists import list_answer, shown_list

ROWS_PER_PAGE = 50
NUMBERS: tuple[ListColumn[Item], ...] = (
    ListColumn("number", "Number", lambda item: item.part_number),
    ListColumn("what", "What it is", lambda item: item.description),
)
RINGS: tuple[ListColumn[Item], ...] = (
    ListColumn("material", "Material", lambda item: ", ".join(filter(None, (item.material, item.hardness)))),
    ListColumn("size", "Size", lambda item: item.size),
)
WHERE: tuple[ListColumn[Item], ...] = (
    ListColumn("maker", "Maker's number", lambda item: f"{item.maker_code} {item.maker_number}".strip()),
    ListColumn("home", "Home", lambda item: item.home_place),
)


@require_safe
def show_pumps_and_parts(request: HttpRequest) -> HttpResponse:
    """Items of one kind."""
    items = item_list(kind=request.GET.get("kind", ""), words=request.GET.get("q", "").strip())
    columns = (*NUMBERS, *(RINGS if items.kind == ItemKind.PART else ()), *WHERE)
    if file := list_answer(request, "Pumps and parts", columns, items.rows):
        return file
    shown = shown_list(request, columns, items.rows, ROWS_PER_PAGE)
    return render(request, "web/pumps_and_parts.html", {"items": items, "list": shown, "door": "pumps_and_parts"})
