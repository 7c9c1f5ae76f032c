"""A job of several equal pumps becomes one job for each: to which of them a verdict goes."""

from __future__ import annotations

import re

_PUMP = re.compile(r"\s*pump\s+([0-9]{1,4})\s*(/.*)", re.IGNORECASE)


def pump_at(where: str) -> int:
    """Return which pump of its job a place of the strip report is in; 0 where it names none."""
    found = _PUMP.fullmatch(where)
    return int(found[1]) if found else 0


def on_its_own(where: str) -> str:
    """Return the same place in a job of that pump alone, where every pump is the first."""
    found = _PUMP.fullmatch(where)
    return f"pump 1 {found[2]}" if found else where
