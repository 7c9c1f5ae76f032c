"""The last buy of a part that is no longer made: by SciPy's binomial distribution, and by hand."""

from datetime import date
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from bom.questions.years.last_buy import (
    DAYS_IN_A_YEAR,
    DyingStock,
    PartUse,
    last_buy,
    use_in_years,
    used_before_it_dies,
    worn_at_most,
)
from bom.values import ONE

TODAY = date(2026, 3, 4)
YEAR = Fraction(1461, 4)


def use(pumps=8, sure=0, looked_at=(), days=1461):
    """A record of four years unless said otherwise."""
    return PartUse(pumps, sure * ONE, tuple((count, Fraction(chance)) for count, chance in looked_at), days)


def stock(*quantities):
    return [DyingStock(quantity * ONE, last_use) for quantity, last_use in quantities]


def bought(asked, there=(), years=10, how_sure=90, life=None):
    return last_buy(
        asked, stock(*there), today=TODAY, years=Fraction(years), how_sure_percent=how_sure, life_months=life
    )


def test_one_kind_of_position_is_the_binomial_of_scipy():
    """16 positions in four years are 40 in ten; of 40 at 35 in 100, SciPy's binom.ppf(0.9) is 18."""
    found = bought(use(looked_at=[(16, "0.35")]))
    assert (found.positions, found.worn, found.buy) == (40, 18, 18)
    assert found.worn == binom.ppf(0.9, 40, 0.35)
    assert found.chance == pytest.approx(binom.cdf(18, 40, 0.35), abs=1e-12)


@given(
    count=st.integers(1, 400),
    percent=st.integers(1, 99),
    sure=st.floats(min_value=50, max_value=99.9, allow_nan=False),
)
def test_any_such_number_is_the_one_that_scipy_gives(count, percent, sure):
    found, chance = worn_at_most([(count, Fraction(percent, 100))], sure)
    assert binom.cdf(found, count, percent / 100) >= sure / 100 - 1e-9
    assert found == 0 or binom.cdf(found - 1, count, percent / 100) < sure / 100 + 1e-9
    assert chance == pytest.approx(binom.cdf(found, count, percent / 100), abs=1e-9)


def test_two_chances_are_convolved():
    """By hand: of one piece at 1/2 and one at 1/4 none is worn in 3/8, at most one in 7/8."""
    mixed = [(1, Fraction(1, 2)), (1, Fraction(1, 4))]
    assert [worn_at_most(mixed, percent) for percent in (37.5, 37.6, 87.5, 87.6)] == [
        (0, pytest.approx(0.375)),
        (1, pytest.approx(0.875)),
        (1, pytest.approx(0.875)),
        (2, pytest.approx(1.0)),
    ]


def test_the_years_are_at_the_pace_of_the_record_and_parts_of_a_piece_round_up():
    """24 sure and 5 looked at in four years: 61 and 13 in ten years and a bit, never 60.3 or 12.5."""
    sure, looked_at = use_in_years(use(sure=24, looked_at=[(2, "0.1"), (3, "0.1")]), Fraction(101, 10))
    assert (sure, looked_at) == (61 * ONE, ((13, Fraction(1, 10)),))
    assert use(pumps=8).pumps_a_year == 2
    assert use(pumps=8, sure=16, looked_at=[(8, "0.5")]).expected_of_one == 2.5 * ONE


def test_what_is_left_comes_off_what_is_bought():
    asked = use(sure=16)
    assert [bought(asked, [(there, None)]).buy for there in (0, 15, 40, 50)] == [40, 25, 0, 0]


def test_what_dies_before_it_is_used_comes_off_no_purchase():
    """4 a year: of 20 that die in two years 8 are used, whatever else lives to the end."""
    two_years = date(2028, 3, 3)
    asked = use(sure=16)
    assert used_before_it_dies(stock((20, two_years)), asked, TODAY, Fraction(10)) == 8 * ONE
    found = bought(asked, [(20, two_years), (5, None)])
    assert (found.left, found.used_of_left, found.buy) == (25 * ONE, 13 * ONE, 27)


def test_lots_that_die_one_after_the_other_share_the_years():
    """4 a year: of 6 that die in a year 4 are used, of 6 that die in two years 4 more."""
    asked = use(sure=16)
    one, two = date(2027, 3, 3), date(2028, 3, 3)
    assert used_before_it_dies(stock((6, two), (6, one)), asked, TODAY, Fraction(10)) == 8 * ONE
    assert used_before_it_dies(stock((1, one), (6, two)), asked, TODAY, Fraction(10)) == 7 * ONE


def test_nothing_is_bought_for_longer_than_a_new_piece_lives():
    found = bought(use(sure=16), years=10, life=60)
    assert (found.years, found.asked_years, found.buy) == (5, 10, 20)
    assert bought(use(sure=16), years=3, life=60).years == 3


def test_more_sureness_never_buys_less_and_nothing_asked_buys_nothing():
    asked = use(looked_at=[(16, "0.35"), (7, "0.1")])
    numbers = [bought(asked, how_sure=percent).buy for percent in (50, 80, 90, 99, 99.9)]
    assert numbers == sorted(numbers)
    assert numbers[0] < numbers[-1]
    assert bought(use(pumps=0)).buy == 0


def test_a_year_is_365_days_and_a_quarter():
    assert DAYS_IN_A_YEAR == YEAR
