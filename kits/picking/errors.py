"""Refusals of picking."""

from __future__ import annotations

from kits.catalog.errors import Refusal


class PickRefusal(Refusal):
    """A round, a line or the closing of a job refuses a request."""


class WrongScanRefusal(PickRefusal):
    """What was scanned before a line is not of it."""
