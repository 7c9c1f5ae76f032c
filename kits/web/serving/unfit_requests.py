"""Requests that no page can take: long ones of people who have not signed in, and those sent in another way."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
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


class SayWhatIsOnlyPressed:
    """Answers with a page where an address is opened that only a button may call, or the other way about."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on, and put words to an empty refusal."""
        answer = self.get_response(request)
        if not isinstance(answer, HttpResponseNotAllowed) or answer.content:
            return answer
        page = render(request, "web/only_pressed.html", status=answer.status_code)
        page["Allow"] = answer["Allow"]
        return page
