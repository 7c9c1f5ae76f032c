"""Refusals of the service lead's records."""

from __future__ import annotations

from kits.catalog.errors import Refusal


class ServiceRefusal(Refusal):
    """An arrival, a test sheet, a quote or a limit refuses a request."""
