"""Days as moments: what a column of moments is compared with, so that its index serves."""

from __future__ import annotations

from datetime import date, datetime, time

from django.utils import timezone


def start_of(day: date) -> datetime:
    """The first moment of a day in the shop's time zone."""
    return timezone.make_aware(datetime.combine(day, time.min))
