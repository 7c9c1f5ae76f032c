"""What is done to people, told in their history."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from django.contrib.auth.hashers import make_password
from django.db import transaction

from kits.people.models import User
from kits.people.writes import note_password


@contextmanager
def noting_password(*, person: User | None, by: User, at: datetime) -> Iterator[None]:
    """Keep that a password was set, if it is another one when the block ends; in one transaction with the block."""
    with transaction.atomic(durable=True):
        before = person and User.objects.get(pk=person.pk).password
        yield
        if person and User.objects.get(pk=person.pk).password != before:
            note_password(person, by=by, at=at)


def change_password(*, person: User, password: str, at: datetime) -> bool:
    """Give a person a new password, unless it was changed meanwhile, and say whether it was given.

    Whoever is signed in by the old one anywhere is signed out there.
    """
    with noting_password(person=person, by=person, at=at):
        after = make_password(password)
        changed = User.objects.filter(pk=person.pk, password=person.password).update(password=after)
    if changed:
        person.password = after
    return bool(changed)
