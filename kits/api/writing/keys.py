"""The key of a request that books something: the same key books once, as that of a form does."""

from __future__ import annotations

from typing import Annotated

from django.http import HttpRequest
from ninja import Header

from kits.api.door import person_of
from kits.api.marks import digest
from kits.api.problems import ApiRefusal
from kits.catalog.request_log import SAID, was_logged, was_repeated

RequestKey = Annotated[
    str,
    Header(
        alias="Idempotency-Key",
        min_length=8,
        max_length=80,
        pattern=r"^[A-Za-z0-9_.-]+$",
        description="Made by the program for each thing it books: one key books once, however often it is sent.",
    ),
]
USED = "This key was used already, for something else, so nothing was booked: make a new key for each thing to book."


def request_key(request: HttpRequest, kind: str, key: str, said: object) -> str:
    """The key under which the ledger keeps it; refuse one under which something else was booked."""
    name = f"api:{kind}:{person_of(request).pk}:{key}"
    whole = f"{name}{SAID}{digest(said)[:16]}"
    if was_logged(name) and not was_repeated(whole):
        raise ApiRefusal(422, USED)
    return whole
