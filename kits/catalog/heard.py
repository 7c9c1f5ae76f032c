"""Requests that were heard: a key is good for one thing, said as often as one likes.

A key from a page reads ``name~digest``: the digest is of everything the request said. The name is kept in the
transaction that books, so that the same key with another content is refused there and not answered in silence with what
was booked before. Keys without a digest are those of commands, which say one thing only.
"""

from __future__ import annotations

from kits.catalog.errors import Refusal
from kits.catalog.models import HeardRequest

SAID = "~"
USED = (
    "This page was used already, for something else, so nothing was booked now: open it anew, look at how it stands, "
    "and book what is still to be booked."
)


def hear_once(key: str) -> bool:
    """Keep what a request said, inside a transaction behind the mark, and return whether it is news.

    Its key is refused where it once said otherwise.
    """
    name, _, said = key.partition(SAID)
    if not said:
        return True
    earlier = HeardRequest.objects.filter(key=name).first()
    if earlier is None:
        HeardRequest.objects.create(key=name, said=said)
    elif earlier.said != said:
        raise Refusal(USED)
    return earlier is None


def said_before(key: str) -> bool:
    """Whether this very thing was booked under the key; one statement."""
    name, _, said = key.partition(SAID)
    return HeardRequest.objects.filter(key=name, said=said).exists()


def was_heard(key: str) -> bool:
    """Whether something was booked under this key, whatever it said; one statement."""
    return HeardRequest.objects.filter(key=key.partition(SAID)[0]).exists()
