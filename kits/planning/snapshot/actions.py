"""What the snapshot does that others have to wait for."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from django.db import transaction

from kits.catalog.caching.revisions import hold_marks

Read = TypeVar("Read")


def read_while_others_wait(read: Callable[[tuple[str, str]], Read]) -> Read:
    """Call ``read`` with the marks of the records while nobody can write; inside a transaction it is part of that."""
    with transaction.atomic():
        return read(hold_marks())
