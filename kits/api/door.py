"""Who may come in: a token, or somebody who signed in; and what each of them may do at each call."""

from __future__ import annotations

import time
from collections.abc import Iterable
from typing import Any, cast

from django.core.cache import cache
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest
from ninja.security import HttpBearer, SessionAuth
from ninja.throttling import BaseThrottle

from kits.people.models import AccessToken, User
from kits.people.roles import UPLOADING, codename_of
from kits.people.sheet_rights import MAY_UPLOAD, require_sheets
from kits.people.tokens.scopes import SCOPES, loads_by

MINUTE = 60
A_MINUTE = 1200
_SAYS = dict(SCOPES)


class ByToken(HttpBearer):
    """A token, which was looked up before anything of the request was read."""

    def authenticate(self, request: HttpRequest, token: str) -> Any:
        """Its person."""
        return request.user if token_of(request) is not None else None


class BySession(SessionAuth):
    """Somebody who signed in; what they send must come from a page of ours."""

    def __call__(self, request: HttpRequest) -> Any:
        """Whoever sends a token that does not work is nobody, whoever signed in beside."""
        return None if "Authorization" in request.headers else super().__call__(request)


class EachMinute(BaseThrottle):
    """So many requests a minute of one token, or of one person; counted in each process by itself."""

    def allow_request(self, request: HttpRequest) -> bool:
        """Count a request, and say whether it may pass."""
        token = token_of(request)
        who = f"token-{token.pk}" if token else f"person-{request.user.pk}"
        key = f"api-{who}-{int(time.time()) // MINUTE}"
        cache.add(key, 0, 2 * MINUTE)
        return cache.incr(key) <= A_MINUTE

    def wait(self) -> float:
        """How many seconds are left of this minute."""
        return MINUTE - time.time() % MINUTE


def token_of(request: HttpRequest) -> AccessToken | None:
    """The token by which a request came."""
    return getattr(request, "token", None)


def person_of(request: HttpRequest) -> User:
    """In whose name it is."""
    return cast(User, request.user)


def require(request: HttpRequest, right: str) -> User:
    """Refuse a request whose person lacks a right now, or whose token was not given it; return the person."""
    person = person_of(request)
    if not person.has_perm(right):
        raise PermissionDenied(f"{person.get_username()} may not do this: {_says(right)}. The page Roles says who may.")
    _require_scope(request, right)
    return person


def require_lists(request: HttpRequest, names: Any) -> User:
    """Refuse a request that may not load all of some lists; return the person."""
    person, asked = person_of(request), sorted(names)
    require_sheets(person, asked)
    if not person.has_perm(MAY_UPLOAD):
        raise PermissionDenied(f"{person.get_username()} may bring in no list. The page Roles says who may.")
    for name in asked:
        require(request, f"{UPLOADING}.{codename_of(name)}")
    return person


def require_scopes_of(request: HttpRequest, names: Iterable[str]) -> None:
    """Refuse a token that was not given all of some lists to load; whoever signed in has no scopes."""
    for name in sorted(names):
        _require_scope(request, f"{UPLOADING}.{codename_of(name)}")


def require_any_list(request: HttpRequest) -> User:
    """Refuse a request that may load no list at all; return the person."""
    person, token = person_of(request), token_of(request)
    if not person.has_perm(MAY_UPLOAD):
        raise PermissionDenied(f"{person.get_username()} may bring in no list. The page Roles says who may.")
    if token is not None and not loads_by(frozenset(token.scopes)):
        raise PermissionDenied(f"The token {token.name} may load no list: make one that may, on your page Programs.")
    return person


def _require_scope(request: HttpRequest, right: str) -> None:
    token = token_of(request)
    if token is not None and right not in token.scopes:
        says = f"The token {token.name} may not do this: {_says(right)}. Make one that may, on your page Programs."
        raise PermissionDenied(says)


def _says(right: str) -> str:
    says = _SAYS.get(right, right)
    return says[:1].lower() + says[1:]
