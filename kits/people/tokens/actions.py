"""Making tokens for other programs, and withdrawing them."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from django.core.exceptions import PermissionDenied
from django.db import transaction

from kits.people.joining.errors import PeopleRefusal
from kits.people.joining.links import digest_of
from kits.people.models import AccessToken, User
from kits.people.rights import may_change
from kits.people.tokens.scopes import SCOPES, scopes_of
from kits.people.tokens.secrets import new_token_secret
from kits.people.writes import note_change

MOST_TOKENS = 20


def make_token(*, person: User, name: str, scopes: Collection[str], by: User, at: datetime) -> tuple[AccessToken, str]:
    """Make a token that uses some rights of a person, and return it with its secret, which nothing keeps."""
    secret, name = new_token_secret(), name.strip()
    with transaction.atomic(durable=True):
        found = _found(person, by)
        if not found.is_active:
            raise PeopleRefusal(f"{found.get_username()} has left, so no token was made: let them come back first.")
        own = {right for right, _ in scopes_of(found)}
        if lacked := [says for right, says in SCOPES if right in scopes and right not in own]:
            raise PermissionDenied(f"{found.get_username()} may not do this, so no token of theirs may: {lacked[0]}.")
        kept = sorted(own.intersection(scopes))
        live = AccessToken.objects.filter(person=found, ended_at__isnull=True)
        if not name or not kept:
            raise PeopleRefusal("A token needs a name and something that it may do: write the one, tick the other.")
        if live.filter(name=name).exists():
            raise PeopleRefusal(f"There is a token {name} already: withdraw it first, or take another name.")
        if live.count() >= MOST_TOKENS:
            raise PeopleRefusal(f"There are {MOST_TOKENS} tokens already: withdraw one that is not used any more.")
        token = AccessToken.objects.create(
            person=found, name=name, digest=digest_of(secret), scopes=kept, made_by=by, made_at=at
        )
        note_change(found, {}, {f"token {name}": f"made, may: {', '.join(kept)}"}, by=by, at=at)
    return token, secret


def withdraw_token(*, token: AccessToken, by: User, at: datetime) -> None:
    """End a token at once; once it has ended it stays so."""
    with transaction.atomic(durable=True):
        found = _found(token.person, by)
        live = AccessToken.objects.filter(pk=token.pk, ended_at__isnull=True)
        if live.update(ended_at=at, ended_by=by):
            note_change(found, {f"token {token.name}": "worked"}, {f"token {token.name}": "withdrawn"}, by=by, at=at)


def _found(person: User, by: User) -> User:
    found = User.objects.select_for_update().get(pk=person.pk)
    if found.pk != by.pk and not (by.has_perm("people.change_user") and may_change(by, found)):
        raise PermissionDenied("A token is its person's own: ask them, or an administrator, to see to it.")
    return found
