"""Why every number of a plan is what it is: the ways down to a part, and a tree of parts for each number."""

from bom.explain.numbers import Explanations, Number, explain
from bom.explain.tree import Rule, Unit, Why
from bom.explain.ways import PathRow, Step, arithmetic, paths

__all__ = ["Explanations", "Number", "PathRow", "Rule", "Step", "Unit", "Why", "arithmetic", "explain", "paths"]
