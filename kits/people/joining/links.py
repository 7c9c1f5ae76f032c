"""The secret of a one-time link: made here, shown once, known afterwards by its digest alone."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta

from django.db.models import QuerySet

from kits.people.models import SignInLink

LIVES = timedelta(hours=72)
"""By own judgement: a link that is given on a Friday still works on Monday morning."""


def new_secret() -> str:
    """A secret of 256 bits by chance, which nobody guesses, so that a digest without salt keeps it."""
    return secrets.token_urlsafe(32)


def digest_of(secret: str) -> str:
    """What is kept of a secret."""
    return hashlib.sha256(secret.encode()).hexdigest()


def live_links(at: datetime) -> QuerySet[SignInLink]:
    """The links that work: not used, not ended, of somebody who has not left."""
    return SignInLink.objects.filter(used_at__isnull=True, ends_at__gt=at, person__is_active=True)


def find_link(secret: str, at: datetime) -> SignInLink | None:
    """The link with this secret, if it works."""
    return live_links(at).filter(digest=digest_of(secret)).select_related("person").first()


def links_end(at: datetime) -> dict[int, datetime]:
    """Until when the link of each person works who has one."""
    return dict(live_links(at).order_by("ends_at").values_list("person_id", "ends_at"))
