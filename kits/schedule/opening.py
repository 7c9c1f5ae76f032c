"""The gate before a pump is opened, as the schedule asks it: what is asked stands above, where more is known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from kits.schedule.models import Job


@dataclass(frozen=True, slots=True)
class LetPass:
    """What was open when a pump was opened all the same, and why whoever may let it pass did."""

    says: str = ""
    open_then: str = ""


OpeningGate = Callable[[Job], LetPass]
"""Asked inside the transaction that opens the pump of a job: refuses while something is open that nobody let pass."""
