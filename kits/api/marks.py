"""By what a program knows that nothing has changed: entity tags made of the marks that every write changes."""

from __future__ import annotations

import hashlib
import json

from django.http import HttpRequest, HttpResponse
from django.utils.http import parse_etags

from kits.catalog.caching.revisions import read_marks
from kits.planning.queries import today


def state_of(*parts: object) -> str:
    """A digest of what the tables hold, of the day, and of what is asked of them."""
    return digest(*read_marks(), today().isoformat(), *parts)


def digest(*parts: object) -> str:
    """What tells these values from any others."""
    return hashlib.sha256(json.dumps(parts, default=str).encode()).hexdigest()[:32]


def seen(request: HttpRequest, response: HttpResponse, tag: str) -> HttpResponse | None:
    """Mark an answer with a tag; where the program has that one already, the answer that says so."""
    response.headers["ETag"], response.headers["Cache-Control"] = f'"{tag}"', "private, no-cache"
    known = parse_etags(request.headers.get("If-None-Match", ""))
    if not any(one == "*" or one.removeprefix("W/") == f'"{tag}"' for one in known):
        return None
    headers = {"ETag": f'"{tag}"', "Cache-Control": "private, no-cache"}
    return HttpResponse(status=304, headers=headers)


def expected_tag(request: HttpRequest) -> str:
    """The tag under which something may be changed; empty where the program names none."""
    asked = parse_etags(request.headers.get("If-Match", ""))
    return "" if not asked or "*" in asked else asked[0].removeprefix("W/").strip('"')
