"""What may be found worn: the demo shop by hand, SciPy's binomial as a second opinion, laws on random shops."""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from scipy.stats import binom

from bom.answers.rows import as_json
from bom.plan import plan
from bom.questions.wear_outlook import FLOOR, look_at_wear
from bom.values import ONE, Item, KitFit
from tests.bom.results import plan_of
from tests.bom.small_shops import holds, inspect, job, kit, lot, make_shop, march, offer, order, renew, verdict
from tests.demo_shop import demo_shop
from tests.shops import random_shop


@pytest.fixture(scope="module")
def demo():
    return plan(demo_shop())


def items_of(outlook):
    return {row.part_number: row for row in outlook.items}


def balls(count=48, *, in_stock=17, **more):
    lots = [lot("BALL", in_stock)] if in_stock else []
    return make_shop([inspect("PUMP", "BALL", 35, count)], lots=lots, **more)


def test_chances_are_those_of_the_binomial_distribution():
    row = items_of(look_at_wear(plan(balls())))["BALL"]
    assert row.chance == pytest.approx(binom.cdf(17, 48, 0.35), abs=1e-9)
    assert row.chance_with_one_more == pytest.approx(binom.cdf(18, 48, 0.35), abs=1e-9)
    assert row.added_by_one_more == pytest.approx(binom.pmf(18, 48, 0.35), abs=2e-9)
    assert (row.positions, row.cover, row.expected) == (48 * ONE, 21 * ONE, pytest.approx(16.8))


def test_the_published_rounding_stands_beside_the_cover():
    """30 positions at 5 and at 28 per 100 overhauls: 2 and 8 (TM 5-6675-203-15, US Army)."""
    shop = make_shop([inspect("PUMP", "NUT", 5, 30), inspect("PUMP", "STUD", 28, 30)])
    found = items_of(look_at_wear(plan(shop)))
    assert (found["NUT"].published, found["STUD"].published) == (2, 8)
    assert (found["NUT"].cover, found["STUD"].cover) == tuple(binom.ppf(0.9, 30, (0.05, 0.28)) * ONE)


def test_two_lines_of_one_part_are_rounded_together():
    shop = make_shop([inspect("PUMP", "NUT", 5, 5, position="a"), inspect("PUMP", "NUT", 25, 5, position="b")])
    assert items_of(look_at_wear(plan(shop)))["NUT"].published == 2


def test_sure_pieces_come_off_the_shelf_first():
    shop = make_shop(
        [inspect("PUMP", "BALL", 35, 4), renew("PUMP", "BALL", 3, position="other")], lots=[lot("BALL", 5)]
    )
    row = items_of(look_at_wear(plan(shop)))["BALL"]
    assert (row.free, row.chance) == (2 * ONE, pytest.approx(binom.cdf(2, 4, 0.35), abs=1e-9))


def test_where_sure_pieces_take_more_than_the_shelf_one_more_piece_changes_nothing_yet():
    shop = make_shop(
        [inspect("PUMP", "BALL", 35, 4), renew("PUMP", "BALL", 3, position="other")], lots=[lot("BALL", 1)]
    )
    row = items_of(look_at_wear(plan(shop)))["BALL"]
    assert (row.free, row.sure_lacks) == (0, 2 * ONE)
    assert (row.chance, row.chance_with_one_more, row.added_by_one_more) == (0, 0, 0)


def test_orders_cover_wear_though_the_shelf_does_not():
    outlook = look_at_wear(plan(balls(orders=[order("BALL", 9, march(30))])))
    assert (outlook.covered, outlook.items[0].is_covered) == (1, True)
    assert outlook.items[0].chance < 0.9


def test_one_piece_is_priced_by_the_pack_of_the_offer_chosen():
    """21 planned, 17 here: one bag of 25 at 16.00, so 0.64 a ball; nothing to buy: what one ball would cost."""
    offers = [offer("BALL", "16.00", pack=25)]
    assert items_of(look_at_wear(plan(balls(offers=offers))))["BALL"].price_of_one == Decimal("0.64")
    assert items_of(look_at_wear(plan(balls(in_stock=30, offers=offers))))["BALL"].price_of_one == Decimal("0.64")
    assert items_of(look_at_wear(plan(balls())))["BALL"].price_of_one is None


def test_measured_parts_have_no_chance_and_are_never_the_weakest():
    shop = make_shop(
        [replace(inspect("PUMP", "CORD", 50), quantity=310 * ONE), inspect("PUMP", "BALL", 35)],
        items=[Item("CORD", countable=False)],
    )
    outlook = look_at_wear(plan(shop))
    cord = items_of(outlook)["CORD"]
    assert (cord.chance, cord.published, cord.added_by_one_more, cord.cover) == (None, None, None, 155 * ONE)
    assert [row.part_number for row in outlook.weakest] == ["BALL"]


def test_wear_of_a_made_assembly_counts_for_the_assembly():
    """The valve is made here; its cone is missing, so the wear of the valve is not covered."""
    shop = make_shop(
        [inspect("PUMP", "VALVE", 100), replace(renew("VALVE", "CONE"), at_rebuild="")],
        items=[Item("VALVE", "assembly", source="make", lead_days=1)],
    )
    assert not items_of(look_at_wear(plan(shop)))["VALVE"].is_covered
    stocked = replace(shop, lots=(lot("CONE", 1),))
    assert items_of(look_at_wear(plan(stocked)))["VALVE"].is_covered


def test_the_outlook_of_the_demo_shop(demo):
    outlook = look_at_wear(demo)
    assert (outlook.covered, len(outlook.items)) == (6, 25)
    assert {row.part_number for row in outlook.items if row.is_covered} == {
        "BA-14", "BL-4", "CG-S", "HB-12", "HB-34", "HB-38",
    }  # fmt: skip
    assert [row.part_number for row in outlook.weakest] == ["BU-6", "SG-P", "WB-6"]
    assert [row.price_of_one for row in outlook.weakest] == [Decimal("12"), Decimal("3.8"), Decimal("18")]
    assert outlook.weakest[0].added_by_one_more == 0  # bumpers are renewed in pairs
    assert outlook.weakest[1].added_by_one_more == pytest.approx(binom.pmf(1, 42, 0.15), abs=2e-9)
    assert outlook.weakest[2].added_by_one_more == pytest.approx(binom.pmf(1, 17, 0.30), abs=2e-9)
    assert outlook.says == (
        "6 of 25 parts that may be found worn are covered; the shelf is least likely to be enough for BU-6 "
        "(below 1 %, 2 left for it), SG-P (below 1 %, 0 left for it) and WB-6 (below 1 %, 0 left for it)."
    )
    assert outlook.floor == FLOOR
    assert "floor" in FLOOR


def test_what_orders_cover_stands_behind_what_nothing_covers():
    shop = balls(in_stock=0, orders=[order("BALL", 40, march(30))])
    lines = (*shop.catalog.lines, inspect("PUMP", "CAGE", 10, 4))
    shop = replace(shop, catalog=replace(shop.catalog, items=(*shop.catalog.items, Item("CAGE")), lines=lines))
    found = look_at_wear(plan(shop)).weakest
    assert [(row.part_number, row.is_covered) for row in found] == [("CAGE", False), ("BALL", True)]
    assert found[0].chance > found[1].chance


def test_the_published_rounding_of_the_demo_shop(demo):
    """Half up of the expected: 15.4 balls, 4.2 stems, 0.42 bodies."""
    found = items_of(look_at_wear(demo))
    assert [found[part].published for part in ("BA-716", "ST-P", "HB-34", "BU-6")] == [15, 4, 0, 17]


def test_a_batch_shows_its_own_parts_with_the_figures_of_all(demo):
    easter = [row.job for row in demo.shop.jobs if row.batch == "Easter stop" and row.pump == "SKARN-114S"]
    outlook = look_at_wear(demo, easter)
    every = items_of(look_at_wear(demo))
    assert {"BU-4", "RB-38", "SP-CV"} <= set(items_of(outlook)) < set(every)
    assert all(row == every[row.part_number] for row in outlook.items)
    assert {row.job for row in outlook.open_first} == set(easter)


# --- open these first


def test_what_the_strip_down_of_one_demo_pump_decides(demo):
    """J-3102 by hand: expected pieces of a single-ended pump times the price of one, the covered body left out.

    Band 0.3 x 18, bumpers 2 x 0.51 x 12, barrel 0.04 x 310, pilot springs 2 x 0.15 x 3.80, stems 2 x 0.1 x 46, spool
    0.12 x 185, sleeve 0.06 x 240, bearing 0.25 x 18, plunger 0.15 x 410, balls 2 x 0.35 x 0.64, springs 2 x 0.2 x
    3.80, cages 2 x 0.1 x 44.
    """
    row = next(row for row in look_at_wear(demo).open_first if row.job == "J-3102")
    assert row.wear_cost == Decimal("153.748")
    assert (row.positions, len(row.parts), row.unpriced) == (19, 12, 0)
    assert (row.most_urgent, row.stage, row.strip_on) == ("PL-34", "here", date(2026, 3, 5))
    assert row.order_by == demo.calendar.back(date(2026, 3, 9), 70)
    assert row.days_late == demo.calendar.between(row.order_by, date(2026, 3, 4))


def test_stripped_jobs_are_not_to_be_opened_and_the_dearest_stands_first(demo):
    rows = look_at_wear(demo).open_first
    assert {"J-3101", "J-3103"}.isdisjoint(row.job for row in rows)
    assert rows[0].job == "J-3111"  # three twin-ended pumps
    assert [row.wear_cost for row in rows] == sorted((row.wear_cost for row in rows), reverse=True)


def test_at_equal_cost_the_one_most_overdue_stands_first():
    jobs = [job("J-1", march(20)), job("J-2", march(10)), job("J-3", march(6))]
    shop = make_shop([inspect("PUMP", "BALL", 35)], items=[Item("BALL", lead_days=4)], jobs=jobs,
                     offers=[offer("BALL", "2.00")])  # fmt: skip
    rows = look_at_wear(plan(shop)).open_first
    assert [(row.job, row.days_late) for row in rows] == [("J-3", 3), ("J-2", 1), ("J-1", 0)]
    assert {row.wear_cost for row in rows} == {Decimal("0.7")}


def test_spares_of_a_kit_lower_what_the_strip_down_decides():
    lines = [inspect("PUMP", "BALL", 50, 4), renew("PUMP", "RING"), holds("K", "RING"), holds("K", "BALL")]
    shop = make_shop(lines, items=[kit("K")], fits=[KitFit("K", "PUMP")],
                     offers=[offer("BALL", "1.00")])  # fmt: skip
    assert look_at_wear(plan(shop)).open_first[0].wear_cost == Decimal(1)


def test_what_is_covered_decides_nothing():
    assert look_at_wear(plan(balls(in_stock=48))).open_first == ()


def test_parts_without_price_or_lead_time_are_counted_and_told():
    (row,) = look_at_wear(plan(make_shop([inspect("PUMP", "BALL", 35)], items=[Item("BALL")]))).open_first
    assert (row.wear_cost, row.unpriced, row.most_urgent, row.order_by, row.days_late) == (0, 1, None, None, None)


def test_a_pump_with_all_verdicts_leaves_the_outlook():
    shop = make_shop([inspect("PUMP", "BALL", 35)], verdicts=[verdict("PUMP 1 / BALL", "BALL", "keep")])
    outlook = look_at_wear(plan(shop))
    assert (outlook.items, outlook.says) == ((), "Nothing is open to inspection, so no wear is planned.")


def test_figures_are_those_of_the_plan_on_random_shops():
    seen = 0
    for seed in range(80):
        worked_out = plan_of(seed)
        rows = {row["part_number"]: row for row in as_json(worked_out)["demand"] if row["positions"]}
        outlook = look_at_wear(worked_out)
        assert set(items_of(outlook)) == set(rows), seed
        for part, row in items_of(outlook).items():
            assert (row.chance is None) == (rows[part]["chance_enough"] is None), seed
            assert (row.chance or 0) == pytest.approx(rows[part]["chance_enough"] or 0, abs=1e-9), seed
            assert row.positions == rows[part]["positions"] * ONE, seed
            if rows[part]["passed_down"] == 0:
                assert row.is_covered == (not rows[part]["uncovered_wear"]) or made(worked_out, part), seed
            seen += 1
    assert seen > 200


def made(worked_out, part):
    return worked_out.demand.structure.items[worked_out.demand.structure.index[part]].source == "make"


def test_one_more_piece_on_the_shelf_gives_the_chance_that_was_promised():
    for seed in range(30):
        before = plan_of(seed)
        shop = before.shop
        for row in look_at_wear(before).weakest:
            more = replace(
                shop, lots=(*shop.lots, replace(lot(row.part_number, 1, "ONE"), last_use=march(1).replace(year=2040)))
            )
            after = items_of(look_at_wear(plan(more, before.demand.structure)))[row.part_number]
            assert after.chance == pytest.approx(row.chance_with_one_more, abs=1e-9), (seed, row)


def test_what_all_strip_downs_decide_is_what_is_expected_of_what_is_uncovered():
    for seed in range(60):
        shop = random_shop(seed)
        jobs = tuple(replace(row, stage="here") if row.stage in ("stripped", "building") else row for row in shop.jobs)
        worked_out = plan(replace(shop, jobs=jobs, verdicts=()), plan_of(seed).demand.structure)
        outlook = look_at_wear(worked_out)
        expected = Decimal(0)
        for row in outlook.items:
            item = worked_out.demand.structure.index[row.part_number]
            if row.is_covered or row.price_of_one is None:
                continue
            for wear in worked_out.demand.wear[item]:
                mean = sum((c.weight * c.count * c.p for c in wear.chances), Fraction(0))
                units = max(mean - wear.spares, Fraction(0)) / (
                    1 if worked_out.demand.structure.countable[item] else ONE
                )
                expected += row.price_of_one * units.numerator / units.denominator
        total = sum((row.wear_cost for row in outlook.open_first), Decimal(0))
        assert float(total) == pytest.approx(float(expected), abs=1e-3), seed  # each to four decimals
