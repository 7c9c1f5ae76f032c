from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bom.errors import QuantityError
from bom.wear.overhaul_rate import pieces_for


def test_half_a_piece_is_rounded_up():
    assert pieces_for(10, Fraction(5)) == 1
    assert pieces_for(10, Fraction("4.9")) == 0


def test_an_essential_part_is_planned_once_at_least_where_it_has_a_position():
    assert pieces_for(1, Fraction(0), essential=True) == 1
    assert pieces_for(0, Fraction(50), essential=True) == 0
    assert pieces_for(10, Fraction(30), essential=True) == 3


@pytest.mark.parametrize(("positions", "rate"), [(-1, 5), (1, -1), (1, 101)])
def test_impossible_input_is_refused(positions, rate):
    with pytest.raises(QuantityError, match="must"):
        pieces_for(positions, Fraction(rate))


@given(st.integers(0, 10_000), st.fractions(0, 100))
def test_the_rounding_is_never_off_by_more_than_half_a_piece(positions, rate):
    off = pieces_for(positions, rate) - positions * rate / 100
    assert -Fraction(1, 2) < off <= Fraction(1, 2)
