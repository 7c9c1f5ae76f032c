"""The last day of use of a lot."""

from __future__ import annotations

from datetime import date

from bom.structure.cure import Cure
from bom.structure.shelf_life import last_use


def last_use_day(cure_on: date | None, printed_on: date | None, life_months: int | None) -> date | None:
    """Return the earlier of the printed day and the one that the start of the clock and the shelf life give."""
    return last_use(None if cure_on is None else Cure(cure_on), life_months, printed_on)
