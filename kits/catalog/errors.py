"""Refusals of the shop's records."""

from __future__ import annotations

from bom.errors import BomError


class Refusal(BomError):
    """The shop's records refuse a request: one sentence with the value, the rule and the remedy."""
