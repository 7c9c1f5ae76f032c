"""The independent slow answer: the same plan by plain recursion, exact fractions and one greedy loop.

Nothing here is clever on purpose. It shares only the input values with the engine, so that a mistake in one is not a
mistake in both. ``slow_plan`` answers as ``plan --json`` does; ``slow_faults`` names the breaches of the rules of
structure, scopes and options. ``SlowAnswers`` is the plan of a shop that has none, to be asked more than once.
"""

from tests.oracle.answers import SlowAnswers, slow_plan
from tests.oracle.faults import find_faults as slow_faults

__all__ = ["SlowAnswers", "slow_faults", "slow_plan"]
