"""Tells a page that sent its form itself where to go next, instead of leading its request there.

A browser that follows by itself does not say where it went before it has fetched that page, and what the page says once
(that something was booked) would be said to nobody.
"""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseRedirectBase

ASKS, SAYS = "X-Sent-By-Page", "X-Goes-To"


class SayWhereToGo:
    """Turns a redirect into an empty answer that names the address, for a request that asks for it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on, and the address of a redirect as a header."""
        answer = self.get_response(request)
        if isinstance(answer, HttpResponseRedirectBase) and ASKS in request.headers:
            answer.status_code = 204
            answer[SAYS] = answer["Location"]
            del answer["Location"]
        return answer
