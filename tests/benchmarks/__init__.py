"""How fast the plan is, as ratios measured in one run: ``python -m tests.benchmarks``."""
