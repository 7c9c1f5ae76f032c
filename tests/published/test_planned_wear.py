"""Planned wear against the binomial, Poisson-binomial and Poisson distributions, as SciPy and textbooks have them."""

from datetime import date
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from bom.answers.rows import as_json
from bom.plan import plan
from bom.values import ONE, Catalog, Item, Job, Line, Lot, ScopeSection, Shop

AS_OF = date(2026, 3, 4)
BUILD = date(2026, 4, 17)


def look_at(rates, pumps=1, sure=90.0, on_hand=0):
    """Plan one part that is looked at in so many equal pumps; ``rates`` holds, line by line, positions and rate."""
    shop = Shop(
        as_of=AS_OF,
        catalog=Catalog(
            (Item("P", kind="pump"), Item("ball", how_sure_percent=sure, lead_days=5)),
            tuple(
                Line("P", "ball", count * ONE, "inspect", position=f"place {number}", renewals_per_100=Fraction(rate))
                for number, (count, rate) in enumerate(rates)
            ),
            scopes=(ScopeSection("P", "full", "P", 1),),
        ),
        lots=(Lot("ball", "L1", on_hand * ONE),) if on_hand else (),
        jobs=(Job("J1", "P", "full", BUILD, quantity=pumps),),
    )
    (row,) = as_json(plan(shop))["demand"]
    return row


@pytest.mark.parametrize(
    ("pumps", "each", "rate", "sure", "cover"),
    [
        (12, 4, 35, 90, 21),
        (12, 4, 35, 95, 22),
        (12, 4, 10, 90, 8),
        (12, 2, 15, 90, 6),
        (12, 2, 15, 95, 7),
        (12, 1, 8, 90, 2),
        (12, 1, 8, 95, 3),
    ],
)
def test_equal_rates_follow_the_binomial_distribution(pumps, each, rate, sure, cover):
    # scipy.stats.binom.
    row = look_at([(each, rate)], pumps, sure)
    assert row["planned_wear"] == cover == stats.binom.ppf(sure / 100, pumps * each, rate / 100)
    assert row["positions"] == pumps * each
    assert row["expected"] == pytest.approx(pumps * each * rate / 100)


def test_the_average_is_enough_little_more_than_every_second_time():
    # scipy.stats.binom: 48 positions at 35 % ask for 16.8 on average, and 17 are enough with a chance of 0.59.
    row = look_at([(4, 35)], pumps=12, on_hand=17)
    assert row["expected"] == pytest.approx(16.8)
    assert row["chance_enough"] == pytest.approx(stats.binom.cdf(17, 48, 0.35), abs=1e-9)
    assert round(row["chance_enough"], 2) == 0.59


def test_many_rare_renewals_follow_the_poisson_distribution():
    # Devore, Probability and Statistics for Engineering and the Sciences, exercise 3.38: mean 2, P(X <= 3) = .857.
    row = look_at([(20, Fraction(1, 5))], pumps=50, on_hand=3)
    assert row["expected"] == pytest.approx(2)
    assert row["chance_enough"] == pytest.approx(0.857, abs=5e-4)
    assert row["chance_enough"] == pytest.approx(stats.poisson.cdf(3, 2), abs=1e-3)


mixes = st.lists(st.tuples(st.integers(1, 6), st.integers(1, 99)), min_size=1, max_size=4)


@given(mixes, st.integers(1, 3), st.sampled_from([50, 80, 90, 95]), st.integers(0, 40))
@settings(max_examples=40)
def test_mixed_rates_follow_the_poisson_binomial_distribution(rates, pumps, sure, on_hand):
    # scipy.stats.poisson_binom.
    chances = [rate / 100 for count, rate in rates for _ in range(count * pumps)]
    worn = stats.poisson_binom(chances)
    row = look_at(rates, pumps, sure, on_hand)
    assert row["planned_wear"] == next(q for q in range(len(chances) + 1) if worn.cdf(q) >= sure / 100 - 1e-12)
    assert row["expected"] == pytest.approx(sum(chances))
    assert row["chance_enough"] == pytest.approx(worn.cdf(min(on_hand, len(chances))), abs=1e-8)
