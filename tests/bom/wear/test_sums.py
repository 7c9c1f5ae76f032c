"""Many sums at once agree with one convolution after another, and with the binomial distribution of SciPy."""

import random
from fractions import Fraction

import numpy as np
import pytest
from scipy.stats import binom

from bom.values import ONE
from bom.wear.planned import Chance, JobWear, WearTable, cover_item, cover_items


def some_jobs(rng):
    """A few jobs with single and weighted chances, sure and impossible ones among them, some with spares."""
    return [
        JobWear(
            job=number,
            day=rng.randint(0, 4),
            chances=tuple(
                Chance(
                    0,
                    rng.choice((1, 1, 1, 2, 3)),
                    Fraction(rng.choice((0, 5, 10, 35, 50, 100)), 100),
                    rng.randint(1, 12),
                )
                for _ in range(rng.randint(1, 3))
            ),
            spares=rng.choice((0, 0, 0, 1, 3)),
        )
        for number in range(rng.randint(1, 6))
    ]


def found_in(job):
    """Chances of 0, 1, 2... pieces asked for by one job beyond its spares, event by event."""
    found = np.ones(1)
    for chance in job.chances:
        for _ in range(chance.count):
            event = np.zeros(chance.weight + 1)
            event[0], event[-1] = 1 - float(chance.p), event[-1] + float(chance.p)
            found = np.convolve(found, event)
    served = min(job.spares, found.size - 1)
    return np.concatenate(([found[: served + 1].sum()], found[served + 1 :]))


def planned_plainly(jobs, sure):
    total, before, planned = np.ones(1), 0, []
    for day in sorted({job.day for job in jobs}):
        for job in jobs:
            if job.day == day:
                total = np.convolve(total, found_in(job))
        enough = np.cumsum(total) >= sure - 1e-12
        needed = max(before, int(np.argmax(enough)) if enough.any() else total.size - 1)
        planned.append((needed - before) * ONE)
        before = needed
    return tuple(planned), np.cumsum(total)


@pytest.mark.parametrize("sure", [50, 80, 90, 99.5, 100])
def test_sums_agree_with_plain_convolution(sure):
    rng = random.Random(sure)
    for _ in range(80):
        jobs = some_jobs(rng)
        cover = cover_item(jobs, sure, countable=True)
        planned, enough = planned_plainly(jobs, sure / 100)
        assert cover.planned == planned
        both = min(enough.size, cover.enough.size)
        assert np.abs(cover.enough[:both] - enough[:both]).max() < 1e-12


def test_items_worked_out_together_are_those_worked_out_alone():
    rng = random.Random(11)
    jobs = {item: some_jobs(rng) for item in range(40)}
    sure = {item: rng.choice((50, 90, 99.5)) for item in jobs}
    together = cover_items(WearTable.of(jobs), sure, dict.fromkeys(jobs, True))
    for item, listed in jobs.items():
        alone = cover_item(listed, sure[item], countable=True)
        assert (together[item].days, together[item].planned) == (alone.days, alone.planned)
        assert together[item].expected == pytest.approx(alone.expected)
        assert (together[item].positions, together[item].spares) == (alone.positions, alone.spares)


def test_five_thousand_positions_on_two_hundred_days_follow_the_binomial_distribution():
    jobs = [JobWear(day, day, (Chance(0, 1, Fraction(35, 100), 25),)) for day in range(200)]
    cover = cover_item(jobs, 90, countable=True)
    running = np.cumsum(cover.planned) // ONE
    positions = np.arange(1, 201) * 25
    assert running.tolist() == binom.ppf(0.9, positions, 0.35).astype(int).tolist()


@pytest.mark.parametrize(("limit", "value"), [("MANY_PRODUCTS", 1), ("SHORT", 1)])
def test_how_a_sum_is_worked_out_makes_no_difference(limit, value, monkeypatch):
    """By way of a transform or not, trimmed at every step or now and then: the same numbers of pieces."""
    rng = random.Random(5)
    jobs = {item: some_jobs(rng) for item in range(40)}
    sure, countable = dict.fromkeys(jobs, 90), dict.fromkeys(jobs, True)
    as_it_is = cover_items(WearTable.of(jobs), sure, countable)
    monkeypatch.setattr(f"bom.wear.sums.{limit}", value)
    for item, cover in cover_items(WearTable.of(jobs), sure, countable).items():
        assert cover.planned == as_it_is[item].planned
        both = min(cover.enough.size, as_it_is[item].enough.size)
        assert np.abs(cover.enough[:both] - as_it_is[item].enough[:both]).max() < 1e-12


def test_tails_below_rounding_take_no_room():
    """20 000 positions at one in a hundred: 200 are expected, give or take 14."""
    jobs = [JobWear(day, day, (Chance(0, 1, Fraction(1, 100 + day % 2), 1000),)) for day in range(20)]
    assert 200 < cover_item(jobs, 90, countable=True).enough.size < 400


def test_a_rare_heavy_find_leaves_room_for_many_pieces():
    """The window holds what is asked for beyond rounding, though the heavy chance is far above the mean."""
    job = JobWear(0, 0, (Chance(0, 40, Fraction(1, 1000), 100), Chance(0, 1, Fraction(3, 10), 200)))
    enough, exact = cover_item([job], 90, countable=True).enough, np.cumsum(found_in(job))
    both = min(enough.size, exact.size)
    assert np.abs(enough[:both] - exact[:both]).max() < 1e-12
    assert 1 - exact[both - 1] < 1e-12


@pytest.mark.parametrize("spares", [0, 1])
def test_many_heavy_finds_follow_the_binomial_distribution_to_its_ends(spares):
    """Each of 400 pumps asks for 100 pieces or for none, less the piece that its own kit brings."""
    jobs = [JobWear(number, 0, (Chance(0, 100, Fraction(1, 2), 1),), spares) for number in range(400)]
    cover, each = cover_item(jobs, 90, countable=True), 100 - spares
    assert cover.planned == (int(binom.ppf(0.9, 400, 0.5)) * each * ONE,)
    exact = binom.cdf(np.arange(cover.enough.size) // each, 400, 0.5)
    assert np.abs(cover.enough - exact).max() < 1e-12
    assert 1 - exact[-1] < 1e-12


def test_spares_that_almost_always_do_leave_room_for_the_rest():
    """Five standard deviations above the mean: beyond the spares little is asked, but then by dozens."""
    job = JobWear(0, 0, (Chance(0, 1, Fraction(35, 100), 4000),), spares=1550)
    enough, exact = cover_item([job], 90, countable=True).enough, np.cumsum(found_in(job))
    both = min(enough.size, exact.size)
    assert np.abs(enough[:both] - exact[:both]).max() < 1e-12
    assert 1 - exact[both - 1] < 1e-12


def test_a_table_gives_each_item_its_own_jobs():
    jobs = {
        item: tuple(JobWear(number, 0, (Chance(item, 1, Fraction(1, 2), 1),), number) for number in range(item))
        for item in (1, 2, 4)
    }
    assert dict(WearTable.of(jobs)) == jobs


def test_a_table_knows_which_items_it_holds():
    table = WearTable.of({item: [JobWear(0, 0, (Chance(item, 1, Fraction(1, 2), 1),))] for item in (2, 5)})
    assert [item for item in range(8) if item in table] == list(table) == [2, 5]
    assert [item for item in range(8) if table.get(item)] == [2, 5]
