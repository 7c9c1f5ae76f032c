"""A page that loads something is heard once, however often its button is tapped."""

from __future__ import annotations

from kits.catalog.errors import Refusal
from kits.catalog.request_log import log_request


class StoredAlready(Refusal):
    """The second of two taps on one button, or a page that was used before."""


def store_once(key: str) -> None:
    """Log the request of a page behind the mark, or refuse it; a load without a page has no key."""
    try:
        if not key or log_request(key):
            return
    except Refusal as error:
        raise StoredAlready(str(error)) from error
    raise StoredAlready("That was stored a moment ago, by the tap before: look at how it stands now.")
