"""One line of the log for each request, and a number by which a failure is found in it.

``LOG_AS=json`` writes each line as an object for a program that gathers logs; otherwise a person reads it. What was
asked for is told without its question mark, which may hold what somebody searched for, and the secret of a sign-in
link never.
"""

from __future__ import annotations

import json
import logging
import secrets
import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any
from urllib.parse import quote

from django.http import HttpRequest, HttpResponse

OUTAGE_TOLD = "outage_told"
"""What a request bears of whose outage a line was written."""
_SIGNS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
"""Without those that are mistaken for another when somebody reads a number out."""
NUMBER_SIGNS = 8
HIDDEN = {"sign_in_link": "/sign-in/link/..."}
_log = logging.getLogger("kits.requests")


class TellRequests:
    """Numbers each request, and tells of it when it is answered."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on, and time it."""
        began = time.perf_counter()
        request.number = "".join(secrets.choice(_SIGNS) for _ in range(NUMBER_SIGNS))  # type: ignore[attr-defined]
        answer = self.get_response(request)
        if getattr(request.resolver_match, "url_name", "") == "health":
            return answer  # asked every few seconds, and by nobody
        if getattr(request, OUTAGE_TOLD, False):
            return answer  # one line tells of it already
        _log.info(
            "%s %s %d in %d ms",
            *(request.method, path_of(request), answer.status_code),
            (time.perf_counter() - began) * 1000,
            extra={"request": request, "status": answer.status_code, "ms": int((time.perf_counter() - began) * 1000)},
        )
        return answer


def path_of(request: HttpRequest) -> str:
    """What was asked for, in signs that cannot begin another line."""
    hidden = HIDDEN.get(getattr(request.resolver_match, "url_name", "") or "")
    return hidden or quote(request.path, safe="/~!$&'()*+,;=:@")


class AddRequest(logging.Filter):
    """Adds to a line whose request it is about; leaves out what the line of the request says anyway."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Complete a record."""
        request: Any = getattr(record, "request", None)
        number = getattr(request, "number", "")
        person: Any = getattr(request, "_cached_user", None)  # only what was read already: a log asks no database
        name = person.get_username() if person is not None and person.is_authenticated else ""
        token = getattr(request, "token", None)
        record.__dict__ |= {"number": number, "person": f"{name}/{token.name}" if token is not None else name}
        if record.name == "django.request" and getattr(record, "status_code", 500) < 500:
            return False
        if number and record.exc_info and "sign_in_link" in str(getattr(request, "resolver_match", "")):
            record.msg, record.args = f"{request.method} {path_of(request)}", None
        return True


class LineOfLog(logging.Formatter):
    """For a person: when, how grave, which request, who, and what."""

    def format(self, record: logging.LogRecord) -> str:
        """One line, and below it where it broke."""
        marks = (
            _when(record),
            record.levelname,
            getattr(record, "number", "") or "-",
            getattr(record, "person", "") or "-",
        )
        text = " ".join((*marks, " ".join(record.getMessage().splitlines())))
        return f"{text}\n{self.formatException(record.exc_info)}" if record.exc_info else text


class JsonOfLog(logging.Formatter):
    """For a program: the same as one object, in one line."""

    def format(self, record: logging.LogRecord) -> str:
        """One object."""
        said = {
            "time": _when(record),
            "level": record.levelname,
            "logger": record.name,
            "request": getattr(record, "number", ""),
            "person": getattr(record, "person", ""),
            "says": record.getMessage(),
            "status": getattr(record, "status", None),
            "ms": getattr(record, "ms", None),
            "trace": self.formatException(record.exc_info) if record.exc_info else None,
        }
        return json.dumps({name: value for name, value in said.items() if value not in ("", None)})


def _when(record: logging.LogRecord) -> str:
    return datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
