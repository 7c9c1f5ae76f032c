"""Knows a program by its token: it acts in the name of one person, and under the addresses of the interface only."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db import Error
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from kits.catalog.waiting import is_away, is_busy
from kits.people.models import AccessToken
from kits.people.tokens.secrets import find_token, note_use

INTERFACE = "/api/"
SCHEME = "bearer"
LONGEST = 200


class KnowByToken:
    """Puts the person of a token in the place of whoever signed in; a token that does not work makes a stranger."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on, in somebody's name."""
        scheme, _, secret = request.headers.get("Authorization", "").partition(" ")
        secret = secret.strip()
        if request.path.startswith(INTERFACE) and scheme.casefold() == SCHEME and 0 < len(secret) <= LONGEST:
            token = find_token(secret)
            if token is not None:
                _note_use_if_it_can_be(token)
                # The log tells who asks from what was read already, without asking the database.
                person: Any = token.person
                request.user = request._cached_user = person  # type: ignore[attr-defined]
                request.token = token  # type: ignore[attr-defined]
        return self.get_response(request)


def _note_use_if_it_can_be(token: AccessToken) -> None:
    """Nobody is turned away because the day of use cannot be stored just now: the next request does it."""
    try:
        note_use(token, timezone.localdate())
    except Error as error:
        if not is_busy(error) and not is_away(error):
            raise
