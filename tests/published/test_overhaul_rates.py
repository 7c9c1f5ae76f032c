"""Planned renewals against published tables and the statistics of SciPy."""

from fractions import Fraction

import pytest

from bom.wear.overhaul_rate import pieces_for


@pytest.mark.parametrize(
    ("positions", "per_100", "planned"),
    [
        (30, "5", 2),  # TM 5-6675-203-15
        (30, "28", 8),  # TM 5-6675-203-15
        (50, "1.7", 1),  # TM 3-1730-201-25P
        (103, "4.1", 4),  # TM 3-1730-201-25P
    ],
)
def test_quantity_per_100_overhauls(positions, per_100, planned):
    # US Army repair parts lists, each named beside its figures.
    assert pieces_for(positions, Fraction(per_100)) == planned
