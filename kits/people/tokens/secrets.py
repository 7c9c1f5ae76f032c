"""The secret of a token: shown once, found again by its digest, and dead as soon as its person has left."""

from __future__ import annotations

from datetime import date

from kits.people.joining.links import digest_of, new_secret
from kits.people.models import AccessToken

BEGINS = "rb_"
"""How a secret begins, so that one that was left lying about is known for what it is."""


def new_token_secret() -> str:
    """A secret that nobody guesses."""
    return f"{BEGINS}{new_secret()}"


def find_token(secret: str) -> AccessToken | None:
    """The token with this secret, if it works: not withdrawn, of somebody who has not left; one statement."""
    live = AccessToken.objects.filter(ended_at__isnull=True, person__is_active=True)
    return live.filter(digest=digest_of(secret)).select_related("person").first()


def note_use(token: AccessToken, today: date) -> None:
    """Keep the day on which a token was last used; one statement a day."""
    if token.used_on != today:
        AccessToken.objects.filter(pk=token.pk).update(used_on=today)
