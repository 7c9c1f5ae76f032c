"""Refusals of the schedule."""

from __future__ import annotations

from kits.catalog.errors import Refusal


class ScheduleRefusal(Refusal):
    """A change of a job is refused."""
