"""What is done to people, told in their history."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

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
