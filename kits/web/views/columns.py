"""Which columns of a list a browser shows; nothing is stored in the shop."""

from __future__ import annotations

import json

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from kits.web.lists import COLUMNS_COOKIE, kept_columns

YEAR = 365 * 24 * 60 * 60
MOST_SIGNS = 60
MOST_LISTS = 30
"""So that the cookie stays well below the four thousand bytes that a browser keeps."""


@require_POST
def choose_columns(request: HttpRequest) -> HttpResponse:
    """Keep which columns of a list were ticked, and go back to it."""
    name = request.POST.get("list", "")[:MOST_SIGNS]
    columns, ticked = request.POST.get("columns", "").split()[:40], set(request.POST.getlist("column"))
    left_out = [one for one in columns[1:] if one not in ticked and one.isidentifier()]
    kept = kept_columns(request)
    kept.pop(name, None)
    if left_out and name.isidentifier():
        kept[name] = left_out
    back = request.POST.get("back", "")
    answer = redirect(back if url_has_allowed_host_and_scheme(back, allowed_hosts=None) else "today")
    text = json.dumps(dict(list(kept.items())[-MOST_LISTS:]), separators=(",", ":"))
    answer.set_cookie(COLUMNS_COOKIE, text, max_age=YEAR, httponly=True, samesite="Lax", secure=request.is_secure())
    return answer
