"""What stands in the lists and no job can ask for, of the whole shop and of one pump."""

from __future__ import annotations

from bom.plan import Plan
from bom.reading import NeverAsked
from kits.planning.queries import reading_of


def all_never_asked(plan: Plan) -> tuple[NeverAsked, ...]:
    """Everything that no scope leads to; worked out once for each plan."""
    return reading_of(plan).lists.never_asked


def never_asked_in(plan: Plan, pump: str, holds: frozenset[str]) -> tuple[NeverAsked, ...]:
    """What of one pump no scope leads to, and the kits that no scope takes for what it ``holds``."""
    return tuple(row for row in all_never_asked(plan) if not {pump, *holds}.isdisjoint(row.within))
