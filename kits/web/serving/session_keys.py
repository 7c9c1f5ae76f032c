"""Sessions whose keys the site knows for its own at a glance, before it has asked the database.

The server reads a long request only for somebody who brings such a key; whether its session still lives is asked later.
"""

from __future__ import annotations

from django.conf import settings
from django.contrib.sessions.backends import db
from django.http import parse_cookie
from django.utils.crypto import constant_time_compare, get_random_string, salted_hmac

RANDOM_SIGNS = 24
SEAL_SIGNS = 16
"""Together what the column of the key holds; 24 letters and digits by chance are 124 bits."""
_SIGNS = "abcdefghijklmnopqrstuvwxyz0123456789"


class SessionStore(db.SessionStore):
    """Sessions in the database, each under a key that bears the seal of this site."""

    def _get_new_session_key(self) -> str:
        while True:
            chance = get_random_string(RANDOM_SIGNS, _SIGNS)
            if not self.exists(key := chance + _seal(chance)):
                return key


def bears_own_key(cookies: str) -> bool:
    """Say whether the cookies of a request hold a session key that this site made."""
    key = parse_cookie(cookies).get(settings.SESSION_COOKIE_NAME, "")
    return len(key) == RANDOM_SIGNS + SEAL_SIGNS and constant_time_compare(
        key[RANDOM_SIGNS:], _seal(key[:RANDOM_SIGNS])
    )


def _seal(chance: str) -> str:
    return salted_hmac("kits.web.session", chance, algorithm="sha256").hexdigest()[:SEAL_SIGNS]
