"""The marks by which a kept answer knows that it is out of date.

Every write to the catalog calls `mark_catalog`, every other write `mark_shop`, first thing in its transaction: the row
stays locked to the end of it, so that marks appear in the order in which the writes do. Who needs both marks the
catalog first.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Callable
from contextvars import ContextVar
from threading import Lock
from typing import TypeVar

from django.db import connection
from django.db.models import Subquery

from kits.catalog.caching.asked_often import ask_often
from kits.catalog.models import Revision

Answer = TypeVar("Answer")

CATALOG = "catalog"
SHOP = "shop"


def mark_catalog() -> None:
    """Say that items, structure, scopes, kit fits, offers, settings or holidays are about to change."""
    _mark(CATALOG)


def mark_shop() -> None:
    """Say that jobs, verdicts, stock, orders or other needs are about to change."""
    _mark(SHOP)


def read_marks() -> tuple[str, str]:
    """Return the marks of the catalog and of the shop; an empty text where nothing was ever written."""
    marks = dict(ask_often(lambda: Revision.objects.values_list("name", "mark")))
    _catalog_seen.set(marks.get(CATALOG, ""))
    return marks.get(CATALOG, ""), marks.get(SHOP, "")


_catalog_seen: ContextVar[str] = ContextVar("mark of the catalog last seen", default="")
CATALOG_MARK = Subquery(Revision.objects.filter(name=CATALOG).values("mark")[:1])
"""The mark of the catalog, to be read in one statement with what it speaks of."""


def catalog_mark_seen() -> str:
    """Return the mark of the catalog that was last read here; empty since it was forgotten."""
    return _catalog_seen.get()


def forget_catalog_mark() -> None:
    """Count no mark of the catalog as seen."""
    _catalog_seen.set("")


def may_keep_under(*marks: str) -> bool:
    """Whether what is read now may be kept under these marks.

    Inside a transaction they may already speak of a write that is still to come, and what was kept under them by others
    may be newer than what is seen here.
    """
    return any(marks) and not connection.in_atomic_block


_kept: dict[str, tuple[tuple[str, ...], object]] = {}
_reading: defaultdict[str, Lock] = defaultdict(Lock)


def kept_until_written(name: str, read: Callable[[], Answer], *, of_catalog: bool = False) -> Answer:
    """Return what ``read`` gives, kept under a name until something is written to any table.

    What is read later than the marks may be newer than they say, never older: then the next reader reads again.
    Several who ask at once wait for the one who reads. With ``of_catalog`` it is kept until the catalog is written to.
    """

    def stamp() -> tuple[str, ...]:
        return read_marks()[: 1 if of_catalog else 2]

    marks = stamp()
    if not may_keep_under(*marks):
        return read()
    kept = _kept.get(name)
    if kept is None or kept[0] != marks:
        with _reading[name]:
            # Whoever waited asks for what the tables hold by now.
            marks = stamp()
            kept = _kept.get(name)
            if kept is None or kept[0] != marks:
                kept = _kept[name] = marks, read()
    answer: Answer = kept[1]  # type: ignore[assignment]
    return answer


def hold_marks() -> tuple[str, str]:
    """The same marks, held so that nobody writes until this transaction ends."""
    list(Revision.objects.select_for_update().order_by("name"))
    return read_marks()


def _mark(name: str) -> None:
    mark = uuid.uuid4().hex
    if not Revision.objects.filter(name=name).update(mark=mark):
        Revision.objects.bulk_create([Revision(name=name, mark=mark)], ignore_conflicts=True)
        Revision.objects.filter(name=name).update(mark=mark)
