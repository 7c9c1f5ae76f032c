"""What somebody sees who waited in vain because a long list is being stored: a way to send the same thing again."""

from __future__ import annotations

import logging
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from kits.catalog.waiting import is_busy
from kits.web.serving.sent_again import to_send_again

WAIT_SECONDS = 10

_log = logging.getLogger(__name__)


class SayWhenBusy:
    """Answers with a sentence where SQLite, which lets one write at a time, kept somebody waiting too long.

    Nothing was stored then. What was typed comes along in the form that sends it again, with its key, so that it is
    posted once however often it is sent.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on."""
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """The answer to a request that waited too long; None for every other fault."""
        if not is_busy(error):
            return None
        _log.warning("%s %s waited in vain for another writer.", request.method, request.path)
        answer = render(request, "web/busy.html", to_send_again(request), status=503)
        answer.headers["Retry-After"] = str(WAIT_SECONDS)
        return answer
