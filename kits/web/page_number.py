"""Whole numbers in an address: which page it asks for, which rows."""

from __future__ import annotations

from django.http import HttpRequest


def page_number(request: HttpRequest) -> int:
    """The page asked for; the first where it is missing or no number."""
    text = request.GET.get("page", "")
    return int(text) if is_number(text) and len(text) < 8 else 1


def is_number(text: str) -> bool:
    """Whether a text is a whole number of a length that is meant."""
    return text.isascii() and text.isdigit() and len(text) < 12
