"""Remembers for a moment that somebody wrote, so that their next sheets show what came of it."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

WROTE = "wrote"
SECONDS = 30


class RememberOwnWrites:
    """Sends a browser that sent a form a cookie that soon ends."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on, and mark the answer."""
        answer = self.get_response(request)
        if request.method == "POST" and answer.status_code < 400:
            answer.set_cookie(WROTE, "1", max_age=SECONDS, secure=settings.SECURE, httponly=True, samesite="Lax")
        return answer


def wrote_lately(request: HttpRequest) -> bool:
    """Whether this browser sent something within the last moments."""
    return WROTE in request.COOKIES
