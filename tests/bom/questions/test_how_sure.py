"""How sure were we: covers kept before pumps were opened, set against what strip reports found."""

from dataclasses import replace

import pytest
from scipy.stats import binom

from bom.plan import plan
from bom.questions.how_sure import WearBefore, expected_wear, found_worn, spread, wear_list
from tests.bom.small_shops import inspect, job, make_shop, march, opens, verdict

WHERE = "pump 1 / END {} / ball"


def shop_of(*, verdicts=(), jobs=None, rate=35, **line):
    lines = [opens("PUMP", "END", 2), inspect("END", "BALL", rate, position="ball", **line)]
    return make_shop(lines, jobs=jobs or (job(),), verdicts=tuple(verdicts))


def both(said, name="J-1"):
    return [verdict(WHERE.format(end), "BALL", said, name=name) for end in (1, 2)]


def test_what_is_expected_is_that_of_a_pump_nobody_has_opened():
    unopened = plan(shop_of())
    opened = plan(shop_of(verdicts=both("renew")))
    assert expected_wear(opened, ["J-1"]) == expected_wear(unopened, ["J-1"])
    assert expected_wear(unopened, ["J-1"])["J-1"] == (WearBefore("BALL", 90.0, 0, ((2, 0.35, 1),)),)


def test_rates_are_learned_from_other_pumps_and_not_from_this_one():
    """Five pumps had both balls worn, so (10 x 0.35 + 10) / (10 + 10) = 0.675; this one is left out."""
    past = [job(f"P-{n}", march(2), stage="shipped") for n in range(5)]
    verdicts = [one for n in range(5) for one in both("renew", f"P-{n}")]
    found = plan(shop_of(jobs=(*past, job(stage="stripped")), verdicts=[*verdicts, *both("keep")]))
    assert expected_wear(found, ["J-1"])["J-1"][0].events == ((2, 0.675, 1),)


def test_found_is_what_was_renewed_with_its_group_and_only_of_pumps_seen_in_full():
    grouped = {"renew_together": "pair", "renew_together_over": "pump"}
    shop = shop_of(verdicts=[verdict(WHERE.format(1), "BALL"), verdict(WHERE.format(2), "BALL", "keep")], **grouped)
    assert found_worn(plan(shop), ["J-1"]) == {"J-1": {"BALL": 2}}
    half = replace(shop_of(), verdicts=(verdict(WHERE.format(1), "BALL"),))
    assert found_worn(plan(half), ["J-1"]) == {}


def test_a_list_is_the_smallest_that_is_sure_enough():
    """48 positions at 35 in 100: scipy.stats.binom gives 21 for 90 in 100."""
    rows = [(WearBefore("BALL", 90, 0, ((4, 0.35, 1),)), 2)] * 12
    found = wear_list(rows)
    assert found.planned == binom.ppf(0.9, 48, 0.35) == 21
    assert found.chance == pytest.approx(binom.cdf(21, 48, 0.35))
    assert (found.positions, found.expected, found.found, found.enough) == (48, pytest.approx(16.8), 24, False)


def test_spares_of_a_kit_serve_their_own_job_first():
    rows = [(WearBefore("BALL", 90, 1, ((2, 0.5, 1),)), 2), (WearBefore("BALL", 90, 1, ((2, 0.5, 1),)), 0)]
    found = wear_list(rows)
    assert found.found == 1
    assert found.chance == pytest.approx(1 - 0.25**2)
    assert found.planned == 1


def test_the_spread_is_that_of_independent_lists():
    lists = [wear_list([(WearBefore("BALL", 90, 0, ((1, 0.05, 1),)), 0)])] * 100
    said, deviation = spread(lists)
    assert (said, deviation) == (pytest.approx(95), pytest.approx(binom.std(100, 0.95)))
