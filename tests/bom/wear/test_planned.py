"""Planned wear: how sure a cover is, groups, spares of each job, measured items, and what strip reports teach."""

from dataclasses import replace
from datetime import date
from fractions import Fraction
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from bom.answers.rows import as_json, everything, late_wear_rows
from bom.plan import plan
from bom.values import ONE, Issue, Item, KitFit, OtherNeed, ScopeSection
from bom.wear.planned import Chance, JobWear, WearTable, cover_item, cover_items
from tests.bom.small_shops import (
    answer,
    demand_of,
    holds,
    inspect,
    job,
    kit,
    lot,
    make_shop,
    march,
    opens,
    order,
    pick,
    renew,
    row_of,
)


def wear(day, *chances, spares=0):
    """``chances`` are (count, per cent) or (count, per cent, pieces each)."""
    made = tuple(Chance(0, more[0] if more else 1, Fraction(rate) / 100, count) for count, rate, *more in chances)
    return JobWear(0, day, made, spares)


def numbered(jobs):
    return [replace(one, job=number) for number, one in enumerate(jobs)]


def pooled(jobs, sure=90.0, countable=True):
    return cover_item(numbered(jobs), sure, countable=countable)


def covers(jobs, sure=90.0):
    """Cover by build day, in pieces."""
    found = pooled(jobs, sure)
    return dict(zip(found.days, (np.cumsum(found.planned) // ONE).tolist(), strict=True))


def smallest(worn, sure):
    return next(q for q in range(10_000) if worn.cdf(q) >= sure / 100 - 1e-12)


# --- against distributions


@pytest.mark.parametrize(("count", "rate", "sure", "cover"), [(48, 35, 90, 21), (48, 35, 95, 22), (21, 25, 80, 7)])
def test_equal_positions_are_binomial(count, rate, sure, cover):
    # scipy.stats.binom
    found = pooled([wear(10, (count, rate))], sure)
    assert found.planned == (cover * ONE,)
    assert cover == stats.binom.ppf(sure / 100, count, rate / 100)
    assert found.expected == pytest.approx(count * rate / 100)
    worn = stats.binom(count, rate / 100)
    assert found.enough[: count + 1] == pytest.approx(worn.cdf(range(count + 1)), abs=1e-12)


chances = st.lists(st.tuples(st.integers(1, 8), st.integers(0, 100)), min_size=1, max_size=4)


@given(st.lists(chances, min_size=1, max_size=4), st.sampled_from([50, 80, 90, 95, 99.5]))
@settings(max_examples=40)
def test_mixed_positions_of_several_jobs_are_poisson_binomial(jobs, sure):
    # scipy.stats.poisson_binom
    rates = [rate / 100 for job_chances in jobs for count, rate in job_chances for _ in range(count)]
    worn = stats.poisson_binom(rates)
    found = pooled([wear(10, *job_chances) for job_chances in jobs], sure)
    assert found.planned == (smallest(worn, sure) * ONE,)
    assert found.positions == len(rates) * ONE


@given(st.lists(st.tuples(st.integers(1, 5), st.integers(1, 99), st.integers(1, 4)), min_size=1, max_size=3))
@settings(max_examples=30)
def test_groups_ask_for_several_pieces_at_once(groups):
    """``count`` groups of ``each`` pieces: by adding up every outcome."""
    distribution = np.ones(1)
    for count, rate, each in groups:
        for _ in range(count):
            step = np.zeros(each + 1)
            step[0] += 1 - rate / 100
            step[each] += rate / 100
            distribution = np.convolve(distribution, step)
    found = pooled([wear(10, *groups)])
    assert found.enough[: distribution.size] == pytest.approx(np.cumsum(distribution), abs=1e-12)
    assert found.planned == (int(np.argmax(np.cumsum(distribution) >= 0.9 - 1e-12)) * ONE,)


def test_tables_that_say_the_same_of_an_item_are_told_whatever_the_numbers_of_the_jobs():
    def table(jobs, *spares, day=10, p=Fraction(1, 3)):
        return WearTable.of({7: [JobWear(j, day, (Chance(7, 1, p, 2),), n) for j, n in zip(jobs, spares, strict=True)]})

    known = table((0, 1), 1, 0)
    assert table((4, 9), 1, 0).same_as(known) == [7]
    assert table((0, 1), 0, 1).same_as(known) == [], "the other job brings the spare"
    assert table((0, 1), 1, 0, day=11).same_as(known) == []
    assert table((0, 1), 1, 0, p=Fraction(1, 4)).same_as(known) == [], "numbered alike, and another chance"
    assert table((0,), 1).same_as(known) == []


def test_a_chance_that_just_reaches_is_enough():
    """P(none of 2 worn at 50 %) = 0.25 and P(one at most) = 0.75 exactly; an odd number is half at its middle."""
    assert covers([wear(10, (2, 50))], 25) == {10: 0}
    assert covers([wear(10, (2, 50))], 75) == {10: 1}
    assert covers([wear(10, (2, 50))], 75.1) == {10: 2}
    for count in (3, 11, 101, 999):
        assert covers([wear(10, (count, 50))], 50) == {10: count // 2}


def test_certain_and_impossible_renewals():
    assert covers([wear(10, (7, 100))], 50) == {10: 7}
    assert covers([wear(10, (7, 0))], 99.9) == {10: 0}
    assert covers([wear(10, (7, 100), (3, 0))], 90) == {10: 7}


def test_twelve_pumps_need_less_than_twelve_times_one_pump():
    alone = covers([wear(10, (4, 35))])[10]
    pooled = covers([wear(10, (4, 35))] * 12)[10]
    assert (alone, pooled) == (3, 21)


def test_cover_grows_with_the_build_day():
    """4, 8 and 12 positions at 35 %: 3, 5 and 6 by the binomial distribution."""
    jobs = [wear(day, (4, 35)) for day in (30, 10, 20)]
    assert covers(jobs) == {10: 3, 20: 5, 30: 6} == {
        day: stats.binom.ppf(0.9, count, 0.35) for day, count in ((10, 4), (20, 8), (30, 12))
    }  # fmt: skip


def test_items_worked_out_together_are_as_each_alone():
    """Sizes, days and spares of one item do not touch another."""
    wears = {
        0: [wear(10, (48, 35))],
        1: [wear(20, (3, 10)), wear(30, (200, 1), (2, 90, 3))],
        2: [wear(10, (6, 50), spares=2), wear(12, (1, 50))],
        3: [wear(10, (1, 0))],
    }
    table = WearTable.of({item: numbered(jobs) for item, jobs in wears.items()})
    together = cover_items(table, dict.fromkeys(wears, 95.0), dict.fromkeys(wears, True))
    for item, jobs in wears.items():
        alone = pooled(jobs, 95.0)
        assert (together[item].days, together[item].planned) == (alone.days, alone.planned)
        assert together[item].enough[:7] == pytest.approx(alone.enough[:7], abs=1e-12) or alone.enough.size < 7


# --- spares


def by_enumeration(jobs):
    """Every outcome of every event, its chance, and what the jobs ask for beyond their own spares."""
    events = [
        (number, chance.weight, float(chance.p))
        for number, own in enumerate(jobs) for chance in own.chances for _ in range(chance.count)
    ]  # fmt: skip
    total = {}
    for outcome in product((0, 1), repeat=len(events)):
        probability, asked = 1.0, [0] * len(jobs)
        for happens, (number, weight, p) in zip(outcome, events, strict=True):
            probability *= p if happens else 1 - p
            asked[number] += weight * happens
        beyond = sum(max(0, count - own.spares) for count, own in zip(asked, jobs, strict=True))
        total[beyond] = total.get(beyond, 0.0) + probability
    return total


job_with_spares = st.builds(
    lambda chances, spares: wear(10, *chances, spares=spares),
    st.lists(st.tuples(st.integers(1, 3), st.integers(1, 99), st.integers(1, 2)), min_size=1, max_size=2),
    st.integers(0, 4),
)


@given(st.lists(job_with_spares, min_size=1, max_size=2))
@settings(max_examples=40)
def test_spares_serve_their_own_job_first(jobs):
    worn = by_enumeration(jobs)
    found = pooled(jobs)
    for quantity in range(min(found.enough.size, 8)):
        expected = sum(chance for count, chance in worn.items() if count <= quantity)
        assert found.enough[quantity] == pytest.approx(expected, abs=1e-12)
    assert found.spares == sum(own.spares for own in jobs) * ONE


def test_a_spare_of_one_job_does_not_serve_another():
    """Two pumps, one sure to need a piece, the other with a spare that nobody needs: one piece all the same."""
    assert covers([wear(10, (1, 100)), wear(10, (1, 0), spares=1)]) == {10: 1}
    assert covers([wear(10, (1, 100), spares=1), wear(10, (1, 0))]) == {10: 0}


def test_an_item_that_is_never_worn_plans_nothing_beside_one_that_always_is():
    jobs = {0: [wear(10, (5, 100))], 1: [wear(10, (5, 0))]}
    found = cover_items(WearTable.of(jobs), dict.fromkeys(jobs, 90), dict.fromkeys(jobs, True))
    assert [found[item].planned for item in jobs] == [(5 * ONE,), (0,)]


def test_many_jobs_with_spares_of_their_own_ask_for_what_is_left_of_each():
    """Of 10 that are always worn a job has 1 itself."""
    assert covers([wear(10, (10, 100), spares=1)] * 200) == {10: 1800}
    assert covers([wear(day, (10, 100), spares=1) for day in (10, 11) for _ in range(100)]) == {10: 900, 11: 1800}


def test_what_is_expected_is_counted_before_spares():
    """3 of 4 are enough with 15/16; one of them is there already."""
    found = pooled([wear(10, (4, 50), spares=1)])
    assert (found.expected, found.planned) == (2.0, (2 * ONE,))


# --- measured items


def measured(jobs):
    found = pooled(jobs, countable=False)
    return dict(zip(found.days, found.planned, strict=True))


def test_a_measured_item_is_planned_by_what_is_expected():
    """310 mm at 40 % and 25 mm at 10 % on one day, 100 mm at 5 % on another."""
    jobs = [wear(10, (1, 40, 310 * ONE)), wear(10, (1, 10, 25 * ONE)), wear(20, (1, 5, 100 * ONE))]
    assert measured(jobs) == {10: 126_500_000, 20: 5 * ONE}
    assert pooled(jobs, countable=False).enough.size == 0


@pytest.mark.parametrize(("millionths", "planned"), [(1, 0), (3, 2), (5, 2), (7, 4)])
def test_half_a_millionth_is_rounded_to_even(millionths, planned):
    """Half of 1, 3, 5 and 7 millionths: 0.5 -> 0, 1.5 -> 2, 2.5 -> 2, 3.5 -> 4."""
    assert measured([wear(10, (1, 50, millionths))]) == {10: planned}


def test_a_build_day_is_rounded_as_a_whole():
    """Two jobs of half a millionth are one millionth; rounded apart they would be none."""
    assert measured([wear(10, (1, 50, 1)), wear(10, (1, 50, 1))]) == {10: 1}


def test_spares_of_a_measured_item_come_off_job_by_job():
    """50 mm expected less 80 mm is nothing, not less than nothing, so the other job's 50 mm stay."""
    jobs = [wear(10, (1, 50, 100 * ONE), spares=80 * ONE), wear(10, (1, 50, 100 * ONE))]
    assert measured(jobs) == {10: 50 * ONE}


def test_a_measured_line_is_as_many_positions_as_its_quantity():
    line = replace(inspect("PUMP", "cord", 40), quantity=310 * ONE)
    row = demand_of(make_shop([line], items=[Item("cord", countable=False)]), "cord")
    assert pick(row, "positions", "expected", "planned_wear", "chance_enough") == (310, 124, 124, None)


def test_a_measured_line_counts_in_every_assembly_that_holds_it():
    line = replace(inspect("end", "cord", 40), quantity=310 * ONE)
    row = demand_of(make_shop([opens("PUMP", "end", 3), line], items=[Item("cord", countable=False)]), "cord")
    assert pick(row, "positions", "expected", "planned_wear") == (930, 372, 372)


def test_a_measured_line_is_one_position_of_its_group():
    """The bumper (50 %) and 10 mm of cord (20 %) go together with a chance of 1 - 0.5 x 0.8 = 0.6."""
    together = {"renew_together": "end"}
    lines = [inspect("PUMP", "bumper", 50, **together), inspect("PUMP", "cord", 20, 10, **together)]
    found = answer(make_shop(lines, items=[Item("cord", countable=False)]))
    assert row_of(found["demand"], "cord")["expected"] == 6
    assert row_of(found["demand"], "bumper")["expected"] == 0.6


# --- groups in the structure


def expected_of(lines, **shop):
    return {row["part_number"]: row["expected"] for row in answer(make_shop(lines, **shop))["demand"]}


def test_a_group_over_the_assembly_falls_in_each_assembly_alone():
    """2 heads of 2 bumpers at 50 %: 2 x 2 x (1 - 0.25) = 3; chances to stay whole: 0.25 x 0.25."""
    lines = [opens("PUMP", "head", 2), inspect("head", "bumper", 50, 2, renew_together="b")]
    row = demand_of(make_shop(lines), "bumper")
    assert pick(row, "positions", "expected", "chance_enough") == (4, 3, 0.0625)


def test_a_group_over_the_section_falls_in_the_whole_section():
    """One section of 2 heads of 2 bumpers: 4 x (1 - 0.5 ** 4) = 3.75, two sections twice that."""
    line = inspect("head", "bumper", 50, 2, renew_together="b", renew_together_over="section")
    lines = [opens("PUMP", "end", 2), opens("end", "head", 2), line]
    assert expected_of(lines, sections=(("end", 1),)) == {"bumper": 3.75}
    assert expected_of(lines, sections=(("end", 2),)) == {"bumper": 7.5}


def test_a_group_over_the_pump_falls_in_all_its_sections():
    """2 sections of 2 bumpers and a joint of 1: 5 x (1 - 0.5 ** 5) = 4.84375 in one pump, twice that in two."""
    group = {"renew_together": "b", "renew_together_over": "pump"}
    lines = [
        opens("PUMP", "end", 2), inspect("end", "bumper", 50, 2, **group), opens("PUMP", "joint"),
        inspect("joint", "bumper", 50, **group),
    ]  # fmt: skip
    sections = (("end", 2), ("joint", 1))
    assert expected_of(lines, sections=sections) == {"bumper": 4.84375}
    assert expected_of(lines, sections=sections, jobs=[job(quantity=2)]) == {"bumper": 9.6875}


@pytest.mark.parametrize("apart", ["section", "kit", "assembly"])
def test_groups_of_one_label_in_different_assemblies_are_independent(apart):
    """Twice 2 bumpers at 50 %: 2 x 2 x (1 - 0.25) = 3, where 4 in one group would be 3.75."""
    bumper = inspect("head", "bumper", 50, 2, renew_together="b")
    lines, sections = [opens("PUMP", "end"), opens("end", "head"), bumper], [("PUMP", 1)]
    shop = {"items": [kit()], "fits": [KitFit("K", "end")]} if apart == "kit" else {}
    if apart == "section":
        lines, sections = [*lines, opens("PUMP", "joint"), opens("joint", "head")], [("end", 1), ("joint", 1)]
    elif apart == "kit":
        lines += [opens("PUMP", "head"), renew("end", "cup"), holds("K", "cup")]
    else:
        lines += [opens("end", "foot"), replace(bumper, parent="foot")]
    assert expected_of(lines, sections=sections, **shop)["bumper"] == 3


def test_groups_of_one_label_in_different_sections_are_independent():
    """2 and 1 bumpers at 50 %: 2 x (1 - 0.25) + 0.5."""
    group = {"renew_together": "b", "renew_together_over": "section"}
    lines = [opens("PUMP", "end"), inspect("end", "bumper", 50, 2, **group)]
    lines += [opens("PUMP", "joint"), inspect("joint", "bumper", 50, **group)]
    assert expected_of(lines, sections=(("end", 1), ("joint", 1))) == {"bumper": 2}


def test_a_group_takes_along_a_line_without_a_rate():
    """Nobody knows how often the wiper goes, but it goes with the bumper: 0.5 of each."""
    lines = [inspect("PUMP", "bumper", 50, renew_together="b"), inspect("PUMP", "wiper", None, renew_together=" B")]
    shop = make_shop(lines)
    assert expected_of(lines) == {"bumper": 0.5, "wiper": 0.5}
    (flag,) = [flag for flag in answer(shop)["flags"] if flag["kind"] == "no_rate"]
    assert flag["part_number"] == "wiper"
    assert "No rate known: wiper in PUMP" in flag["says"]


def test_without_a_rate_nothing_is_planned_but_the_position_counts():
    row = demand_of(make_shop([inspect("PUMP", "wiper", None)]), "wiper")
    assert pick(row, "positions", "expected", "planned_wear", "chance_enough") == (1, 0, 0, 1)


def test_what_stands_alone_beside_a_group_keeps_its_chance():
    """Two heads of two bumpers that go together, and a bumper and 10 mm of cord that go alone."""
    lines = [opens("PUMP", "head", 2), inspect("head", "bumper", 50, 2, renew_together="b")]
    lines += [inspect("head", "bumper", 10, position="alone"), inspect("head", "cord", 40, 10)]
    found = expected_of(lines, items=[Item("cord", countable=False)])
    assert found == {"bumper": 3.2, "cord": 8}


def test_groups_of_different_labels_are_independent():
    lines = [inspect("PUMP", "bumper", 50, 2, position=side, renew_together=side) for side in ("left", "right")]
    assert expected_of(lines) == {"bumper": 3}


# --- wear and orders


@pytest.mark.parametrize(("promised", "uncovered"), [(date(2026, 6, 3), 0), (date(2026, 6, 4), 1)])
def test_wear_takes_late_orders_of_sixty_working_days_and_no_later_ones(promised, uncovered):
    """Needed on Wednesday 11 March; twelve weeks later is Wednesday 3 June. What is sure waits for any order."""
    orders = [order("ball", 1, promised)]
    shop = make_shop([inspect("PUMP", "ball", 100)], orders=orders)
    assert demand_of(shop, "ball")["uncovered_wear"] == uncovered
    assert demand_of(make_shop([renew("PUMP", "ball")], orders=orders), "ball")["uncovered"] == 0


def test_a_far_order_that_one_wearing_job_is_too_early_for_serves_the_next():
    """Need days of 11 and 18 March: the order of 8 June is 63 working days after the first, 58 after the second."""
    shop = make_shop(
        [inspect("PUMP", "ball", 100)],
        jobs=[job("J-1"), job("J-2", march(19))],
        orders=[order("ball", 2, date(2026, 6, 8))],
    )
    assert demand_of(shop, "ball")["uncovered_wear"] == 1


def test_wear_that_is_covered_late_is_told_apart_from_what_to_hurry():
    """Two balls, likely to be worn, are needed on the 11th; one comes in time, one on the 16th, three days late."""
    orders = [order("ball", 1, march(9)), order("ball", 5, march(16), "PO-2")]
    found = plan(make_shop([inspect("PUMP", "ball", 100, 2)], orders=orders))
    (row,) = late_wear_rows(found, everything(found))
    assert pick(row, "order", "part_number", "quantity") == ("PO-2", "ball", 1)
    assert pick(row, "promised", "need_on", "days_late", "jobs") == ("2026-03-16", "2026-03-11", 3, [])
    assert as_json(found)["expedite"] == []


def test_what_a_made_assembly_asks_for_because_of_wear_goes_by_its_own_need():
    """The valve is needed on 11 March, its cup three working days before, on the 6th: sixty later is Friday 29 May."""
    lines = [inspect("PUMP", "valve", 100), holds("valve", "cup")]
    items = [Item("valve", "assembly", source="make", lead_days=3)]
    for promised, uncovered in ((date(2026, 5, 29), 0), (date(2026, 6, 1), 1)):
        shop = make_shop(lines, items=items, orders=[order("cup", 1, promised)])
        assert demand_of(shop, "cup")["uncovered_wear"] == uncovered


# --- spares of a shop's jobs


def test_what_a_kit_brings_for_inspection_serves_its_job():
    """4 balls looked at in J-1, whose kits bring 4; none in J-2, which takes no kits: 4 positions at 50 % -> 3."""
    lines = [opens("PUMP", "end", 2), renew("end", "cup"), inspect("end", "ball", 50, 2), holds("K", "cup")]
    lines += [holds("K", "ball", 2)]
    jobs = [job("J-1"), job("J-2", use_kits=False)]
    shop = make_shop(lines, items=[kit()], fits=[KitFit("K", "end")], jobs=jobs, lots=[lot("ball", 2)])
    row = demand_of(shop, "ball")
    assert pick(row, "positions", "spares", "expected", "planned_wear") == (8, 4, 4, 3)
    assert row["chance_enough"] == pytest.approx(stats.binom.cdf(2, 4, 0.5), abs=1e-9)


# --- the chance that the shelf is enough


def chance(lines, **shop):
    return demand_of(make_shop(lines, **shop), "ball")["chance_enough"]


def test_the_chance_is_that_of_the_shelf_less_what_is_sure():
    """3 on the shelf, 1 asked for sure: P(2 of 4 at 50 % are enough); with 4 asked the chance is nil."""
    lines = [renew("PUMP", "ball", position="sure"), inspect("PUMP", "ball", 50, 4, position="seat")]
    assert chance(lines, lots=[lot("ball", 3)]) == pytest.approx(stats.binom.cdf(2, 4, 0.5), abs=1e-9)
    lines[0] = renew("PUMP", "ball", 4, position="sure")
    assert chance(lines, lots=[lot("ball", 3)]) == 0


def test_there_is_no_chance_while_something_sure_waits_for_an_order():
    """The order covers what is sure in time, but then the three on the shelf are not for wear alone."""
    lines = [renew("PUMP", "ball", 4, position="sure"), inspect("PUMP", "ball", 50, 4, position="seat")]
    assert chance(lines, lots=[lot("ball", 3)], orders=[order("ball", 9, march(9))]) == 0


def test_the_chance_counts_what_is_passed_down_as_sure():
    """Three balls, of which the kit to be packed takes one: 2 for 4 at 50 %."""
    lines = [
        opens("PUMP", "end"),
        renew("end", "ball"),
        inspect("end", "ball", 50, 4, position="seat"),
        holds("K", "ball"),
    ]
    shop = {"items": [kit(source="pack")], "fits": [KitFit("K", "end")]}
    assert chance(lines, lots=[lot("ball", 3)], **shop) == pytest.approx(stats.binom.cdf(2, 4, 0.5), abs=1e-9)


def test_the_chance_counts_only_lots_that_live_to_the_build_day_of_wear():
    """Two pumps, one ball each at 50 %. Both balls live to the first build, one to the second: one found is enough."""
    jobs = [job("J-1"), job("J-2", march(26))]
    lots = [lot("ball", 1, "soon", last_use=march(25)), lot("ball", 1, "good", last_use=march(26))]
    assert chance([inspect("PUMP", "ball", 50)], jobs=jobs, lots=lots) == 0.75
    assert chance([inspect("PUMP", "ball", 50)], jobs=jobs[:1], lots=lots) == 1


def test_a_sure_piece_built_later_may_leave_wear_what_dies_before():
    """The sale of 2 April takes the ball that lives so long; the one that dies before is left for the pump of March."""
    lots = [lot("ball", 1, "soon", last_use=march(25)), lot("ball", 1, "good")]
    sale = OtherNeed("sale", "ball", ONE, date(2026, 4, 2))
    assert chance([inspect("PUMP", "ball", 50, 2)], lots=lots, needs=[sale]) == 0.75


def test_what_wear_may_not_have_is_not_counted_in_its_chance():
    """One ball belongs to the customer, one is reserved for the other job beyond what that asks: nothing is left."""
    jobs = [job("J-1", customer="Harbour Line"), job("J-2", march(19))]
    lots = [lot("ball", 1, "theirs", owner="Harbour Line"), lot("ball", 1)]
    issues = [Issue("J-2", "ball", "L", ONE, "reserved")]
    shop = make_shop([inspect("PUMP", "ball", 50)], jobs=jobs, lots=lots, issues=issues)
    assert pick(demand_of(shop, "ball"), "on_hand", "chance_enough") == (2, 0.25)


def test_sections_of_one_scope_share_the_pool():
    lines = [
        opens("PUMP", "end", 2),
        inspect("end", "ball", 35, 2),
        opens("PUMP", "drive"),
        inspect("drive", "ball", 35),
    ]
    scopes = [ScopeSection("PUMP", "air", "drive", 1)]
    jobs = [job("J-1"), job("J-2", scope="air")]
    row = demand_of(make_shop(lines, sections=(("end", 2),), scopes=scopes, jobs=jobs), "ball")
    assert pick(row, "positions", "planned_wear") == (5, stats.binom.ppf(0.9, 5, 0.35))
