"""Pumps and parts: everything that has a number."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits.catalog.item_list import item_list
from kits.web.page_number import page_number


@require_safe
def show_pumps_and_parts(request: HttpRequest) -> HttpResponse:
    """Items of one kind."""
    words = request.GET.get("q", "").strip()
    items = item_list(kind=request.GET.get("kind", ""), words=words, page=page_number(request))
    return render(request, "web/pumps_and_parts.html", {"items": items, "door": "pumps_and_parts"})
