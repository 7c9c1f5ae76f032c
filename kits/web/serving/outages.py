"""What somebody sees while the database is away or its disk is full, and the one line of the log that tells of it.

The page asks neither database nor session. Nothing was stored, and the next request tries again by itself.
"""

from __future__ import annotations

import logging
import sys

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string

from kits.catalog.waiting import is_away, is_busy, is_read_only
from kits.web.serving.request_lines import OUTAGE_TOLD
from kits.web.serving.sent_again import to_send_again

WAIT_SECONDS = 30


def answer_fault(request: HttpRequest) -> HttpResponse:
    """The page of a failure: of the database, with everything that was typed, or else of our own."""
    error = sys.exc_info()[1]
    if error is None or not _will_pass(error):
        # Without the request, for what the page would ask of it may be what broke.
        return HttpResponse(render_to_string("500.html", {"number": getattr(request, "number", "")}), status=500)
    try:
        facts = to_send_again(request)
    except Exception:  # whatever keeps it from being read may have to do with the outage itself
        facts = {"again": request.path, "sent": request.method == "POST"}
    facts["read_only"] = is_read_only(error)
    answer = render(request, "503.html", facts, status=503)
    answer.headers["Retry-After"] = str(WAIT_SECONDS)
    return answer


class OneLine(logging.Filter):
    """Tells of an outage in one line for each request, instead of a trace that says the same each time."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Shorten what is told of an outage, and tell it once."""
        error = record.exc_info[1] if record.exc_info else None
        if error is None or not _will_pass(error):
            return True
        request = getattr(record, "request", None)
        if getattr(request, OUTAGE_TOLD, False):
            return False
        if request is not None:
            setattr(request, OUTAGE_TOLD, True)
        says = " ".join(str(error).split())
        record.msg, record.args = "The database is away (%s): %s", (says, record.getMessage())
        record.exc_info = None
        return True


def _will_pass(error: BaseException) -> bool:
    return is_away(error) or is_busy(error)
