"""The number of the page that an address asks for."""

from __future__ import annotations

from django.http import HttpRequest


def page_number(request: HttpRequest) -> int:
    """The page asked for; the first where it is missing or no number."""
    text = request.GET.get("page", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 8 else 1
