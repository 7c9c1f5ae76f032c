"""By what a program knows that nothing has changed: entity tags made of the marks that every write changes."""

from __future__ import annotations

import hashlib
import json

from django.http import HttpRequest, HttpResponse
from django.utils.http import parse_etags

from kits.api.problems import ApiRefusal
from kits.catalog.caching.revisions import read_marks
from kits.planning.queries import today

NO_TAG = "If-Match: this names no tag, so nothing was stored: send the ETag of the list as it came, in its quotes."


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


def expected_tags(request: HttpRequest) -> list[str]:
    """The tags under one of which something may be changed; empty where the program sets no condition."""
    said = request.headers.get("If-Match")
    if said is None:
        return []
    asked = parse_etags(said)
    if not asked:
        raise ApiRefusal(422, NO_TAG)
    return [] if "*" in asked else [one.removeprefix("W/").strip('"') for one in asked]
