"""Refusals as other programs read them (RFC 9457): one sentence with the remedy, and the number under which the log
tells of the request."""

from __future__ import annotations

import json
import logging
from collections.abc import Callable
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.http import Http404, HttpRequest, HttpResponse
from django.http.multipartparser import MultiPartParserError
from ninja import Field, NinjaAPI, Schema
from ninja.errors import AuthenticationError, HttpError, ValidationError

from bom.errors import BomError
from kits.catalog.waiting import is_away, is_busy, is_read_only

KIND = "application/problem+json"
WAIT_SECONDS = 10
TITLES = {
    400: "Not readable",
    401: "Not signed in",
    403: "Not yours to do",
    404: "Not there",
    405: "Not done here",
    409: "Refused",
    412: "Changed meanwhile",
    413: "Too long",
    422: "Not right",
    429: "Too often",
    500: "A fault of ours",
    503: "Busy",
}
STRANGER = "Send the header Authorization: Bearer with a token that works, or sign in and send the form token along."
NOWHERE = "There is nothing at this address: /api/v1/openapi.json names every operation."
TOO_OFTEN = "That is more than one program may ask in a minute: wait as many seconds as Retry-After says."
OTHERS_FIRST = "Nothing was stored, for others are being served: send the same again in a moment."
ONLY_READ = "Nothing was stored, for this site shows a copy of the records: send the same to the site that writes them."
TOO_LONG = "The body is longer than is read at once: send it in parts, or as a file."
UNREAD = "The request cannot be read: send one JSON object, or fewer files at once, each as a part of a form."
_log = logging.getLogger("django.request")


class ApiProblem(Schema):
    """A refusal: ``detail`` is one sentence with the remedy, ``problems`` what is wrong where, if it is more."""

    type: str = "about:blank"
    title: str
    status: int
    detail: str
    number: str
    problems: list[dict[str, Any]] = Field(default_factory=list)


class ApiRefusal(Exception):
    """A request is refused with a status, a sentence, and what is wrong where."""

    def __init__(self, status: int, detail: str, problems: list[dict[str, Any]] | None = None) -> None:
        super().__init__(detail)
        self.status, self.detail, self.problems = status, detail, problems or []


def problem(
    request: HttpRequest, status: int, detail: str, problems: list[dict[str, Any]] | None = None
) -> HttpResponse:
    """The answer that says it."""
    number = getattr(request, "number", "")
    said = ApiProblem(title=TITLES[status], status=status, detail=detail, number=number, problems=problems or [])
    answer = HttpResponse(json.dumps(said.dict()), KIND, status, headers={"Cache-Control": "no-store"})
    if status == 503:
        answer.headers["Retry-After"] = str(WAIT_SECONDS)
    if status == 401:
        answer.headers["WWW-Authenticate"] = "Bearer"
    return answer


def say_problems(api: NinjaAPI) -> None:
    """Answer with a problem whatever is refused or breaks."""
    handlers: dict[type[Exception], Callable[[HttpRequest, Any], HttpResponse]] = {
        ApiRefusal: lambda request, error: problem(request, error.status, error.detail, error.problems),
        AuthenticationError: lambda request, error: problem(request, 401, STRANGER),
        HttpError: _of_the_library,
        ValidationError: _not_right,
        Http404: lambda request, error: problem(request, 404, str(error) or NOWHERE),
        PermissionDenied: lambda request, error: problem(request, 403, str(error) or TITLES[403]),
        RequestDataTooBig: lambda request, error: problem(request, 413, TOO_LONG),
        SuspiciousOperation: lambda request, error: problem(request, 400, UNREAD),
        MultiPartParserError: lambda request, error: problem(request, 400, UNREAD),
        BomError: lambda request, error: problem(request, 409, str(error)),
        Exception: _broken,
    }
    for kind, handler in handlers.items():
        api.add_exception_handler(kind, handler)


def _of_the_library(request: HttpRequest, error: HttpError) -> HttpResponse:
    status = error.status_code if error.status_code in TITLES else 400
    says = {400: "The body is no JSON that can be read: send one object.", 429: TOO_OFTEN}
    return problem(request, status, says.get(status, str(error)))


def _not_right(request: HttpRequest, error: ValidationError) -> HttpResponse:
    problems = [
        {"where": ".".join(str(step) for step in one["loc"]), "reason": str(one["msg"])} for one in error.errors
    ]
    first = problems[0] if problems else {"where": "the request", "reason": "cannot be read"}
    return problem(request, 422, f"{first['where']}: {first['reason']}. Put it right and send it again.", problems)


def _broken(request: HttpRequest, error: Exception) -> HttpResponse:
    if is_busy(error) or is_away(error):
        _log.warning("%s %s waited in vain: %s", request.method, request.path, " ".join(str(error).split()))
        return problem(request, 503, ONLY_READ if is_read_only(error) else OTHERS_FIRST)
    facts = {"status_code": 500, "request": request}
    _log.error("%s %s broke", request.method, request.path, exc_info=error, extra=facts)
    number = getattr(request, "number", "")
    answer = problem(request, 500, f"This is a fault of the site, which its log tells under {number}: tell its keeper.")
    answer._has_been_logged = True  # type: ignore[attr-defined]
    return answer
