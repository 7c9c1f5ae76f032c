"""The search field, and the list of what it finds."""

from __future__ import annotations

from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from kits.picking.scanning.scanned import code_in, read_scan
from kits.planning.lists.finder import Hit, find
from kits.stock.codes.texts import CodeKind

MAY_POST = "stock.add_posting"
SHEETS = {"part": "part", "kit": "kit", "pump": "pump", "job": "job", "batch": "batch", "lot": "lot"}
LISTS = {
    "customer": ("jobs", "customer"),
    "place": ("storeroom", "place"),
    "order": ("purchasing", "order"),
    "supplier": ("purchasing", "supplier"),
    "gauge": ("gauges", "find"),
}


@require_safe
def search(request: HttpRequest) -> HttpResponse:
    """What bears the words asked; a number or a scanned code that names one thing leads straight to it."""
    asked = request.GET.get("q", "").strip()
    if code_in(asked) and read_scan(asked).only:
        return redirect(f"{reverse('scan')}?{urlencode({'code': asked})}")
    found, takes_in = find(asked), request.user.has_perm(MAY_POST)
    if found.meant:
        return redirect(address_of(found.meant, takes_in=takes_in))
    hits = [(hit, address_of(hit, takes_in=takes_in), label_of(hit)) for hit in found.hits]
    return render(request, "web/search.html", {"asked": asked, "hits": hits})


def label_of(hit: Hit) -> str:
    """Where the label of a hit is printed; nothing for a batch, which bears none."""
    if hit.leads_to == "lot":
        return f"{reverse('labels')}?{urlencode({'q': hit.name})}"
    kind = {"kit": "part", "pump": "part"}.get(hit.leads_to, hit.leads_to)
    return reverse("label", args=[kind, hit.key]) if kind.upper() in CodeKind else ""


def address_of(hit: Hit, *, takes_in: bool) -> str:
    """The sheet or list that a hit leads to; an order leads who takes deliveries in to the door of the storeroom."""
    if hit.leads_to == "order" and takes_in:
        return f"{reverse('receive')}?{urlencode({'q': hit.key})}"
    if hit.leads_to in SHEETS:
        return reverse(SHEETS[hit.leads_to], args=[hit.key])
    name, field = LISTS[hit.leads_to]
    asked = {field: hit.key} | ({"past": "1"} if hit.leads_to == "customer" else {})
    return f"{reverse(name)}?{urlencode(asked)}"
