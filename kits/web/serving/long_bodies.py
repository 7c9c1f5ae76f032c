"""Long requests of people who have not signed in are refused before anything of them is read."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from kits.web.serving.bounds import Bounds

MOST_BYTES = Bounds().body_bytes_of_strangers


class RefuseLongBodiesOfStrangers:
    """Answers a long request with a sentence unless somebody is signed in; a form to sign in is never long."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass on what is short, or comes from somebody of the shop."""
        length = request.META.get("CONTENT_LENGTH") or "0"
        if not length.isdecimal() or int(length) < MOST_BYTES or request.user.is_authenticated:
            return self.get_response(request)
        return render(request, "web/long_body.html", {"kilobytes": MOST_BYTES // 1024}, status=413)
