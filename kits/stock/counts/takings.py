"""How much of each item was taken within a year, and how often lately: what decides how often it is counted.

Postings are never changed, so what was read of them once is kept, and only those that came since are read and added.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta

from django.db import connection
from django.db.models import Count, Q, Sum

from kits.catalog.days.moments import start_of
from kits.stock.models import Movement, Posting
from kits.stock.words import PostingKind

YEAR_DAYS, LATELY_DAYS = 365, 91
USED = (PostingKind.PICK, PostingKind.EXTRA_ISSUE, PostingKind.ISSUE, PostingKind.PACK)


@dataclass(frozen=True, slots=True)
class Takings:
    """By item: millionths taken from the shelf within a year of a day, and how often within three months of it."""

    used: Counter[int]
    times: Counter[int]


@dataclass(frozen=True, slots=True)
class _Kept:
    """Takings as of a day, up to a posting that is known by its number and its key."""

    on: date
    last: tuple[int, str]
    takings: Takings


_kept: _Kept | None = None


def takings_of(today: date) -> Takings:
    """What was taken; one statement where nothing was posted since it was last asked, else three."""
    global _kept
    last = Posting.objects.order_by("-pk").values_list("pk", "key").first()
    # What stands inside a transaction may still go.
    if last is None or connection.in_atomic_block:
        return _read(today, Q())
    kept = _kept
    if kept is None or kept.on != today or not _stands(kept.last, last):
        found = _read(today, Q(posting_id__lte=last[0]))
    elif kept.last == last:
        return kept.takings
    else:
        # Named one by one, they are not looked for among all postings of the year.
        came = Posting.objects.filter(pk__gt=kept.last[0], pk__lte=last[0], kind__in=USED).order_by()
        since = _read(today, Q(posting__in=list(came.values_list("pk", flat=True))))
        found = Takings(kept.takings.used + since.used, kept.takings.times + since.times)
    _kept = _Kept(today, last, found)
    return found


def _stands(known: tuple[int, str], last: tuple[int, str]) -> bool:
    """Whether a posting that was read is still there: another file may have taken the place of the records."""
    return known == last or Posting.objects.filter(pk=known[0], key=known[1]).exists()


def _read(today: date, which: Q) -> Takings:
    year_ago, lately = (start_of(today - timedelta(days=days)) for days in (YEAR_DAYS, LATELY_DAYS))
    taken = Q(quantity__lt=0, balance__job__isnull=True, posting__kind__in=USED, posting__at__gte=year_ago)
    rows = list(
        Movement.objects.filter(which & taken)
        .order_by()
        .values_list("balance__lot__item_id")
        .annotate(used=Sum("quantity"), times=Count("posting", distinct=True, filter=Q(posting__at__gte=lately)))
    )
    return Takings(Counter({pk: -used for pk, used, _ in rows}), Counter({pk: times for pk, _, times in rows}))
