"""Refusals of the storeroom."""

from __future__ import annotations

from kits.catalog.errors import Refusal


class StockRefusal(Refusal):
    """The ledger or a storeroom action refuses a request."""
