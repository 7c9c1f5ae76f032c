"""When each account of the shelf was last counted: kept on its balance, so that nobody reads years of movements for it.

A count is a posting of that kind, or a line of a count sheet that agreed or was posted; one that was taken back is
none. What a list brought in first was not counted by anybody.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime

from django.db.models import DateTimeField, Max, OuterRef, Subquery, Value
from django.db.models.functions import Coalesce, Greatest
from django.utils import timezone

from kits.catalog.caching.revisions import kept_until_written
from kits.stock.models import Balance, CountLine, Movement
from kits.stock.words import CountState, PostingKind

COUNTS = frozenset({PostingKind.OPENING, PostingKind.COUNT})
"""Kinds of posting that a count may come to."""


def latest(column: str, at: datetime) -> Coalesce:
    """The later of a moment and of what stands in a column, for an update."""
    moment = Value(at, DateTimeField())
    return Coalesce(Greatest(column, moment), moment)


def note_counted(balance_id: int, at: datetime) -> None:
    """Keep that an account was counted; one statement."""
    Balance.objects.filter(pk=balance_id).update(counted_at=latest("counted_at", at))


def look_up_counts(balance_ids: Collection[int]) -> None:
    """Bring the moments of the last counts to what stands in the books, after one was taken back; one statement."""
    posted = (
        Movement.objects.filter(
            balance=OuterRef("pk"), posting__kind=PostingKind.COUNT, posting__reversed_by__isnull=True
        )
        .order_by()
        .values("balance")
        .annotate(last=Max("posting__at"))
        .values("last")
    )
    said = (
        CountLine.objects.filter(
            balance=OuterRef("pk"),
            state__in=(CountState.AGREED, CountState.DIFFERED),
            posting__reversed_by__isnull=True,
        )
        .order_by()
        .values("balance")
        .annotate(last=Max("at"))
        .values("last")
    )
    both = Greatest(Subquery(posted), Subquery(said))  # nothing in SQLite where one of them is nothing
    counted = Coalesce(both, Subquery(posted), Subquery(said))
    Balance.objects.filter(pk__in=balance_ids).update(counted_at=counted)


def last_counts() -> dict[int, date]:
    """The day of the last count of each account of the shelf that was counted; one statement after a change."""
    return kept_until_written("counts", _read)


def _read() -> dict[int, date]:
    counted = Balance.objects.on_shelf().filter(quantity__gt=0, counted_at__isnull=False).order_by()
    return {pk: timezone.localtime(at).date() for pk, at in counted.values_list("pk", "counted_at")}
