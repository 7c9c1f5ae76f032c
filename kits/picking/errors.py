"""Refusals of picking."""

from __future__ import annotations

from kits.catalog.errors import Refusal


class PickRefusal(Refusal):
    """A round, a line or the closing of a job refuses a request; ``about`` names the figure that is wrong, if one."""

    def __init__(self, says: object, about: str = "") -> None:
        super().__init__(says)
        self.about = about


class WrongScanRefusal(PickRefusal):
    """What was scanned before a line is not of it."""
