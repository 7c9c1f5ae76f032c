"""The search field, and the list of what it finds."""

from __future__ import annotations

from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from kits.planning.lists.finder import Hit, find

SHEETS = {"part": "part", "kit": "kit", "pump": "pump", "job": "job", "batch": "batch", "lot": "lot"}
LISTS = {"place": ("storeroom", "place"), "order": ("purchasing", "order")}


@require_safe
def search(request: HttpRequest) -> HttpResponse:
    """What bears the words asked; a number that names one thing leads straight to it."""
    asked = request.GET.get("q", "").strip()
    found = find(asked)
    if found.only:
        return redirect(address_of(found.only))
    hits = [(hit, address_of(hit)) for hit in found.hits]
    return render(request, "web/search.html", {"asked": asked, "hits": hits})


def address_of(hit: Hit) -> str:
    """The sheet or list that a hit leads to."""
    if hit.leads_to in SHEETS:
        return reverse(SHEETS[hit.leads_to], args=[hit.key])
    name, field = LISTS[hit.leads_to]
    return f"{reverse(name)}?{urlencode({field: hit.key})}"
