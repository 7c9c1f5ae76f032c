"""The log of requests that booked something: each is booked once, however often it is sent.

A key from a page reads ``name~digest``: the digest is of everything the request said. It is logged in the transaction
that books, so that the same key with another content is refused there and not answered in silence with what was booked
before. Keys without a digest are those of commands, which say one thing only.
"""

from __future__ import annotations

from kits.catalog.errors import Refusal
from kits.catalog.models import LoggedRequest

SAID = "~"
USED = (
    "This page was used already, for something else, so nothing was booked now: open it anew, look at how it stands, "
    "and book what is still to be booked."
)


def log_request(key: str) -> bool:
    """Log a request inside a transaction behind the mark, and return whether it is new.

    Its key is refused if it was logged with another content.
    """
    name, _, content = key.partition(SAID)
    if not content:
        return True
    earlier = LoggedRequest.objects.filter(key=name).first()
    if earlier is None:
        LoggedRequest.objects.create(key=name, content=content)
    elif earlier.content != content:
        raise Refusal(USED)
    return earlier is None


def was_repeated(key: str) -> bool:
    """Whether this very request was booked before; one statement."""
    name, _, content = key.partition(SAID)
    return LoggedRequest.objects.filter(key=name, content=content).exists()


def was_logged(key: str) -> bool:
    """Whether something was booked under this key, whatever it said; one statement."""
    return LoggedRequest.objects.filter(key=key.partition(SAID)[0]).exists()
