"""Reads of planning: the day that counts as today, and the plan of what the tables hold now."""

from __future__ import annotations

from datetime import date

from django.utils import timezone

from kits.catalog.queries import read_settings


def today() -> date:
    """Return the day of the setting ``today`` if the shop has one, else the day of the shop's time zone."""
    return read_settings().today or timezone.localdate()
