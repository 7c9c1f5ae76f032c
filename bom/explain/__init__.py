"""Why every number of a plan is what it is: the ways down to a part, and a tree of parts for each number."""

from bom.explain.balance import (
    LATE_ORDER,
    ON_ORDER,
    PACKED_HERE,
    SET_ASIDE,
    SHELF,
    AskedLine,
    Shortfall,
    balances,
    needs_of,
    shortfalls,
    why_asked,
)
from bom.explain.numbers import Explanations, Number, explain
from bom.explain.tree import Rule, Unit, Why
from bom.explain.ways import PathRow, Step, arithmetic, paths, paths_of
from bom.explain.worn import PositionGroups

__all__ = [
    "LATE_ORDER",
    "ON_ORDER",
    "PACKED_HERE",
    "SET_ASIDE",
    "SHELF",
    "AskedLine",
    "Explanations",
    "Number",
    "PathRow",
    "PositionGroups",
    "Rule",
    "Shortfall",
    "Step",
    "Unit",
    "Why",
    "arithmetic",
    "balances",
    "explain",
    "needs_of",
    "paths",
    "paths_of",
    "shortfalls",
    "why_asked",
]
