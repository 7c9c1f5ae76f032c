"""Whoever loads something is heard once, however often a button is tapped or a program sends the same again."""

from __future__ import annotations

from collections.abc import Callable

from kits.catalog.errors import Refusal
from kits.catalog.request_log import log_request
from kits.exchange.models import Upload


class StoredAlready(Refusal):
    """The second of two taps on one button, or a page that was used before."""


class Overtaken(StoredAlready):
    """What is to be changed is not what was read."""


def refuse_overtaken(still: Callable[[], bool] | None) -> None:
    """Refuse, behind the mark, to change what is not as it was read; nothing is asked without a question."""
    if still is not None and not still():
        raise Overtaken("This has changed since it was read, so nothing was stored: read it again, then send it again.")


def store_once(key: str) -> None:
    """Log the request of a page behind the mark, or refuse it; a load without a page has no key."""
    try:
        if not key or log_request(key):
            return
    except Refusal as error:
        raise StoredAlready(str(error)) from error
    raise StoredAlready("That was stored a moment ago, by the tap before: look at how it stands now.")


SENT_UNDER = "sent_under"


def kept_under(key: str) -> Upload | None:
    """The upload that another program sent under a key, or None."""
    return Upload.objects.filter(**{f"typed__{SENT_UNDER}": key}).first()
