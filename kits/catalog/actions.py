"""What is done to the calendar of the shop by hand: days closed, and opened again."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime

from django.db import transaction

from kits.catalog.caching.revisions import mark_catalog
from kits.catalog.history.versions import keep_versions, rows_of
from kits.catalog.models import Holiday
from kits.people.models import User


def close_days(*, days: Collection[date], name: str, by: User, at: datetime) -> int:
    """Close the shop on days, named as what they are; a day that is closed already keeps its name. Return how many."""
    with transaction.atomic(durable=True):
        mark_catalog()
        stored = set(Holiday.objects.filter(date__in=days).values_list("date", flat=True))
        new = sorted(set(days) - stored)
        Holiday.objects.bulk_create([Holiday(date=day, name=name) for day in new])
        closed = list(Holiday.objects.filter(date__in=new).values_list("pk", flat=True))
        keep_versions(Holiday, {}, rows_of(Holiday, closed), by=by, at=at, why=f"closed: {name}")
        return len(new)


def open_days(*, days: Collection[date], why: str, by: User, at: datetime) -> int:
    """Open the shop again on days on which it was to be closed, and return how many of them still were."""
    with transaction.atomic(durable=True):
        mark_catalog()
        closed = Holiday.objects.filter(date__in=days)
        before = rows_of(Holiday, list(closed.values_list("pk", flat=True)))
        closed.delete()
        keep_versions(Holiday, before, {}, by=by, at=at, why=why)
        return len(before)
