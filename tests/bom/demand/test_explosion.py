"""Walking down from a scope: products along each way, and which lines a job's dates, serial, options and scope meet."""

from dataclasses import replace

import numpy as np
import pytest

from bom.demand.explosion import explode
from bom.demand.recipes import answers_of, conditions_of, group_recipes
from bom.errors import QuantityError, ShopError
from bom.plan import plan
from bom.structure.arrays import compile_structure
from bom.structure.tables import multiplied, sorted_by, sum_up
from bom.values import ONE, Item, KitFit, Line, OtherNeed, ScopeSection
from tests.bom.results import Result
from tests.bom.small_shops import (
    FKM,
    NBR,
    answer,
    demand_of,
    holds,
    inspect,
    job,
    kit,
    make_shop,
    march,
    opens,
    pick,
    renew,
    sure,
)

ENDS = [opens("PUMP", "end", 2), opens("end", "check", 2), renew("check", "seat"), renew("end", "cup", 3)]


def test_the_quantities_along_a_way_multiply():
    """1 seat per check x 2 checks x 2 ends x 3 pumps = 12; 3 cups x 2 ends x 3 pumps = 18."""
    assert sure(make_shop(ENDS, sections=(("end", 2),), jobs=[job(quantity=3)])) == {"cup": 18, "seat": 12}


def test_one_end_alone_may_be_served():
    assert sure(make_shop(ENDS, sections=(("end", 1),))) == {"cup": 3, "seat": 2}


def test_a_part_on_several_ways_is_summed():
    """The ring stands in the check (4 times), in the end (twice, on two lines of 1 and 2) and at the pump itself."""
    lines = [*ENDS, renew("check", "ring"), renew("end", "ring", position="rod"), renew("end", "ring", 2)]
    assert sure(make_shop([*lines, renew("PUMP", "ring")]))["ring"] == 4 + 2 + 4 + 1


def test_the_lines_of_the_pump_count_only_when_the_pump_is_the_section():
    lines = [*ENDS, renew("PUMP", "label")]
    assert "label" not in sure(make_shop(lines, sections=(("end", 2),)))
    assert sure(make_shop(lines)) == {"cup": 6, "label": 1, "seat": 4}


def test_only_what_is_opened_is_entered():
    """A check that is kept or renewed as a whole hides its seat; renewed, it is asked for itself."""
    kept = [opens("PUMP", "end"), Line("end", "check", ONE, "keep"), renew("check", "seat"), renew("end", "cup")]
    assert sure(make_shop(kept)) == {"cup": 1}
    assert sure(make_shop([kept[0], renew("end", "check"), *kept[2:]])) == {"check": 1, "cup": 1}


def test_a_kept_part_is_not_asked_for():
    assert answer(make_shop([Line("PUMP", "body", ONE, "keep"), renew("PUMP", "ring")]))["demand"][0]["total"] == 1


def test_an_inspected_line_is_as_many_positions_as_it_holds():
    """3 balls x 2 ends x 2 pumps = 12 positions, of which none is sure."""
    shop = make_shop([opens("PUMP", "end", 2), inspect("end", "ball", 0, 3)], jobs=[job(quantity=2)])
    assert pick(demand_of(shop, "ball"), "sure", "positions", "total") == (0, 12, 0)


def test_an_assembly_on_several_levels_is_entered_once_for_all_of_them():
    """A check stands at the pump itself, and twice in the end: three times the two positions of its ball in one row."""
    lines = [opens("PUMP", "end"), opens("end", "check", 2), opens("PUMP", "check"), inspect("check", "ball", 35, 2)]
    structure = compile_structure(make_shop(lines).catalog)
    recipes, _ = group_recipes(structure, [job()], frozenset())
    explosion, _ = explode(structure, conditions_of(structure, recipes), recipes, [["J-1"]])
    looks = explosion.looks
    assert ([structure.lines[line].child for line in looks.line], looks.count.tolist()) == (["ball"], [3])


def test_a_scope_opens_several_sections_and_joints_once():
    lines = [*ENDS, opens("PUMP", "drive"), renew("drive", "cup"), opens("PUMP", "joint", 2), renew("joint", "nut", 4)]
    shop = make_shop(lines, sections=(("end", 2), ("drive", 1), ("joint", 2)))
    assert sure(shop) == {"cup": 7, "nut": 8, "seat": 4}


def test_bench_items_stand_in_no_requirement():
    lines = [renew("PUMP", "grease"), inspect("PUMP", "pin", 50), renew("PUMP", "ring")]
    shop = make_shop(lines, items=[Item("grease", bench=True), Item("pin", bench=True)])
    assert [row["part_number"] for row in answer(shop)["demand"]] == ["ring"]


def test_a_product_that_no_number_holds_is_refused():
    lines = [opens("PUMP", "end", 10**7), opens("end", "check", 10**7), renew("check", "seat", 2)]
    with pytest.raises(QuantityError, match="quantity typed too large"):
        plan(make_shop(lines))


def test_nine_million_million_pieces_are_held():
    most = np.array([9 * 10**12])
    assert multiplied(most, np.array([ONE])).tolist() == [9 * 10**18]
    with pytest.raises(QuantityError):
        multiplied(most + 1000, np.array([ONE]))


@pytest.mark.parametrize("large", [5, 1 << 40])
def test_equal_keys_are_summed_and_sorted_however_large_they_are(large):
    """Keys that do not fit into one number together are compared one after the other."""
    keys = (np.array([large, 3, large, 3, 3]), np.array([7, large, 7, 2, large]))
    first, second, total = sum_up(keys, np.array([1, 10, 100, 1000, 10000]))
    assert list(zip(first, second, total, strict=True)) == [(3, 2, 1000), (3, large, 10010), (large, 7, 101)]
    assert sorted_by(keys).tolist() == [3, 1, 4, 0, 2]


def test_a_scope_takes_kits_only_if_all_its_rows_do():
    lines = [
        opens("PUMP", "end"),
        renew("end", "cup"),
        opens("PUMP", "joint"),
        renew("joint", "nut"),
        holds("K", "cup"),
    ]
    rows = [ScopeSection("PUMP", "reseal", name, 1, use_kits=name == "end") for name in ("end", "joint")]
    shop = make_shop(lines, items=[kit()], fits=[KitFit("K", "end")], sections=(), scopes=rows)
    assert sure(shop) == {"cup": 1, "nut": 1}
    assert sure(replace(shop, jobs=(job(use_kits=True),))) == {"K": 1, "nut": 1}


# --- dates


@pytest.mark.parametrize(
    ("build", "fitted"), [(march(11), "old"), (march(12), "old"), (march(13), "new"), (march(16), "new")]
)
def test_dates_are_held_against_the_build_day_and_include_their_ends(build, fitted):
    lines = [renew("PUMP", "old", to_on=march(12)), renew("PUMP", "new", from_on=march(13))]
    assert sure(make_shop(lines, jobs=[job(build_on=build)])) == {fitted: 1}


def test_a_line_with_both_dates_counts_between_them():
    line = renew("PUMP", "ring", from_on=march(10), to_on=march(12))
    found = {day: sure(make_shop([line], jobs=[job(build_on=march(day))])) for day in (9, 10, 12, 13)}
    assert found == {9: {}, 10: {"ring": 1}, 12: {"ring": 1}, 13: {}}


def test_a_date_closes_the_whole_way_down():
    lines = [opens("PUMP", "end", to_on=march(11)), renew("end", "cup"), renew("PUMP", "ring")]
    assert sure(make_shop(lines)) == {"ring": 1}


def test_jobs_on_both_sides_of_a_date_are_taken_apart_differently():
    lines = [renew("PUMP", "old", to_on=march(12)), renew("PUMP", "new", from_on=march(13))]
    jobs = [job("J-1"), job("J-2", march(13)), job("J-3", march(20))]
    assert sure(make_shop(lines, jobs=jobs)) == {"new": 2, "old": 1}


@pytest.mark.parametrize(("day", "held"), [(9, []), (10, ["cup"]), (12, ["cup"]), (13, []), (19, []), (20, ["seal"])])
def test_a_kit_that_is_packed_without_a_job_holds_the_lines_of_its_day(day, held):
    """For a sale the day of the need counts, for what is found worn the day of the build, and no other job's."""
    dated = [("cup", {"from_on": march(10), "to_on": march(12)}), ("seal", {"from_on": march(20)})]
    lines = [renew("PUMP", "ring"), *(renew("PUMP", part, **dates) for part, dates in dated), inspect("PUMP", "H", 100)]
    lines += [holds(made, "ring") for made in "KH"] + [
        holds(made, part, **dates) for made in "KH" for part, dates in dated
    ]
    items = [kit(source="pack", lead_days=0), Item("H", "assembly", source="make", lead_days=0)]
    shop = make_shop(lines, items=items, fits=[KitFit("K", "PUMP")], jobs=[job(use_kits=False)])
    sold = replace(shop, needs=(OtherNeed("sale", "K", ONE, march(day)),), jobs=())
    assert held_by(sold, "K") == {"ring", *held}
    worn = replace(shop, jobs=(job(build_on=march(day), use_kits=False), job("J-2", march(30), use_kits=False)))
    assert held_by(worn, "H", march(day)) == {"ring", *held}


def held_by(shop, made, build_on=None):
    """What the packing of one kit or assembly asks for, of all builds or of one."""
    return {
        piece.part_number
        for piece in Result(plan(shop)).pieces
        if piece.way == made and build_on in (None, piece.build)
    }


# --- serials

SERIALS = [renew("PUMP", "old", to_serial="H3-0999"), renew("PUMP", "new", from_serial="H3-1000")]


@pytest.mark.parametrize(
    ("serial", "fitted"),
    [
        ("H3-0714", "old"),
        ("h3-999", "old"),
        ("H3-1000", "new"),
        ("H4-0117", "new"),
        ("H10-1", "new"),
        ("H2-5000", "old"),
        ("", "new"),
    ],
)
def test_serials_stand_in_their_natural_order_and_limits_include_their_ends(serial, fitted):
    """H10 is later than H3 and 999 is earlier than 1000, which the order of letters would turn round."""
    assert sure(make_shop(SERIALS, jobs=[job(serial=serial)])) == {fitted: 1}


def flags(shop, kind):
    return [flag for flag in answer(shop)["flags"] if flag["kind"] == kind]


def test_without_a_serial_the_newest_build_is_taken_and_said_so():
    (flag,) = flags(make_shop(SERIALS), "serial_needed")
    assert flag["job"] == "J-1"
    assert "newest build is assumed" in flag["says"]
    assert flags(make_shop(SERIALS, jobs=[job(serial="H4-0117")]), "serial_needed") == []


def test_one_line_at_a_time_meets_a_job_as_all_lines_do_at_once():
    """On every side of a date and of a serial limit, and on the limits themselves."""
    lines = [*SERIALS, renew("PUMP", "dated", from_on=march(10), to_on=march(12)), renew("PUMP", "ring")]
    lines += [renew("PUMP", "both", from_serial="H3-0999", to_serial="H3-1000", from_on=march(10))]
    jobs = [
        job(f"J-{day}-{serial}", march(day), serial=serial)
        for day in (9, 10, 12, 13)
        for serial in ("H3-0998", "H3-0999", "H3-1000", "H3-1001", "")
    ]
    structure = compile_structure(make_shop(lines).catalog)
    recipes, _ = group_recipes(structure, jobs, frozenset())
    conditions = conditions_of(structure, recipes)
    line, recipe = (pairs.ravel() for pairs in np.meshgrid(np.arange(len(lines)), np.arange(len(recipes))))
    at_once = conditions.apply(line, recipe).tolist()
    assert [conditions.meets(*pair) for pair in zip(line.tolist(), recipe.tolist(), strict=True)] == at_once
    assert len(set(at_once)) == 2


def test_a_serial_is_needed_only_where_a_limited_line_is_reached():
    lines = [opens("PUMP", "end"), *(replace(line, parent="end") for line in SERIALS), renew("PUMP", "label")]
    lines += [opens("PUMP", "drive"), renew("drive", "cup")]
    assert flags(make_shop(lines, sections=(("drive", 1),)), "serial_needed") == []
    assert len(flags(make_shop(lines, sections=(("end", 1),)), "serial_needed")) == 1


def test_an_upper_limit_alone_leaves_the_newest_build_without_the_line():
    lines = [SERIALS[0], renew("PUMP", "ring")]
    assert sure(make_shop(lines)) == {"ring": 1}


# --- options

GLAND = [renew("PUMP", "soft", position="gland", options=NBR), renew("PUMP", "hard", position="gland", options=FKM)]


@pytest.mark.parametrize(("options", "fitted"), [(NBR, "soft"), (FKM, "hard")])
def test_one_alternative_is_fitted(options, fitted):
    assert sure(make_shop(GLAND, jobs=[job(options=options)])) == {fitted: 1}


def test_all_options_of_a_line_must_be_met():
    oxygen, normal = (("service", "oxygen"),), (("service", "normal"),)
    lines = [
        GLAND[0],
        replace(GLAND[1], options=FKM + normal),
        renew("PUMP", "clean", position="gland", options=FKM + oxygen),
    ]
    found = {
        name: sure(make_shop(lines, jobs=[job(options=options)]))
        for name, options in {"nbr": NBR + normal, "fkm": FKM + normal, "oxygen": FKM + oxygen}.items()
    }
    assert found == {"nbr": {"soft": 1}, "fkm": {"hard": 1}, "oxygen": {"clean": 1}}


def asked_by(own=(), scope=(), pump=()):
    shop = make_shop(GLAND, items=[Item("PUMP", "pump", default_options=pump)], jobs=[job(options=own)])
    rows = tuple(replace(row, options=scope) for row in shop.catalog.scopes)
    return sure(replace(shop, catalog=replace(shop.catalog, scopes=rows)))


def test_the_job_answers_before_the_scope_and_the_scope_before_the_pump():
    assert asked_by(pump=NBR) == {"soft": 1}
    assert asked_by(scope=FKM, pump=NBR) == {"hard": 1}
    assert asked_by(own=NBR, scope=FKM, pump=FKM) == {"soft": 1}


def test_each_option_is_answered_for_itself():
    """The job gives the compound, the scope the depth, the pump the service."""
    rows = (ScopeSection("PUMP", "reseal", "PUMP", 1, options=(("depth", "overhaul"),)),)
    shop = make_shop(GLAND, items=[Item("PUMP", "pump", default_options=(("service", "oxygen"), *NBR))])
    structure = compile_structure(replace(shop.catalog, scopes=rows))
    assert answers_of(structure, job(options=FKM)) == (*FKM, ("depth", "overhaul"), ("service", "oxygen"))


def test_the_scope_of_an_overhaul_goes_deeper_on_the_same_list():
    """Set on one row of the scope, the depth holds for the whole scope."""
    reseal, overhaul = (("depth", "reseal"),), (("depth", "overhaul"),)
    ball = inspect("end", "ball", 35, 2, position="seat", options=reseal)
    lines = [
        opens("PUMP", "drive"), renew("drive", "cup"), opens("PUMP", "end"), ball,
        replace(ball, at_rebuild="renew", renewals_per_100=None, options=overhaul),
    ]  # fmt: skip
    scopes = [
        ScopeSection("PUMP", name, section, 1, options=options)
        for name, depth in (("light", reseal), ("deep", overhaul))
        for section, options in (("drive", depth), ("end", ()))
    ]
    light = make_shop(lines, sections=(), scopes=scopes, jobs=[job(scope="light")])
    assert pick(demand_of(light, "ball"), "sure", "positions") == (0, 2)
    deep = replace(light, jobs=(job(scope="deep"),))
    assert pick(demand_of(deep, "ball"), "sure", "positions") == (2, 0)


def faults_of(lines, jobs):
    with pytest.raises(ShopError) as refused:
        plan(make_shop(lines, jobs=jobs))
    return [(fault.key, fault.says.partition(": ")[2]) for fault in refused.value.faults]


def test_an_option_is_asked_for_below_lines_that_ask_for_none():
    lines = [opens("PUMP", "end"), *(replace(line, parent="end") for line in GLAND), renew("PUMP", "ring")]
    (fault,) = faults_of(lines, [job()])
    assert fault[1].startswith("compound is not stated, and at 'gland' of end it decides")


def test_only_the_job_is_refused_whose_answer_is_missing_and_for_every_option_that_is():
    hot = (("service", "hot"),)
    lines = [*GLAND, renew("PUMP", "shield", position="gland", options=hot)]
    found = faults_of(lines, [job("J-1", options=NBR + hot), job("J-2")])
    assert [(key, says.split()[0]) for key, says in found] == [(("J-2",), "compound"), (("J-2",), "service")]


def test_lines_without_options_count_beside_alternatives():
    assert sure(make_shop([*GLAND, renew("PUMP", "wiper", position="gland")], jobs=[job(options=FKM)])) == {
        "hard": 1,
        "wiper": 1,
    }


def test_an_option_closes_the_whole_way_down():
    lines = [
        opens("PUMP", "end", position="side", options=NBR),
        opens("PUMP", "check", position="side", options=FKM),
        renew("end", "cup"),
        renew("check", "seat"),
    ]
    assert sure(make_shop(lines, jobs=[job(options=FKM)])) == {"seat": 1}


def test_a_kit_for_another_option_leaves_the_assembly_inside_to_its_own_kit():
    lines = [
        opens("PUMP", "end"),
        renew("end", "cup"),
        *GLAND,
        holds("K", "hard"),
        holds("K", "cup"),
        holds("K-E", "cup"),
    ]
    fits = [KitFit("K", "PUMP", options=FKM), KitFit("K-E", "end")]
    shop = make_shop(lines, items=[kit(), kit("K-E")], fits=fits, jobs=[job(options=NBR)])
    assert sure(shop) == {"K-E": 1, "soft": 1}
    assert sure(replace(shop, jobs=(job(options=FKM),))) == {"K": 1}


# --- equal jobs are taken apart once


def test_jobs_that_meet_the_same_lines_share_a_recipe():
    """Days on the same side of every limit, serials too, and another name or priority make no difference."""
    lines = [*SERIALS, renew("PUMP", "cup", to_on=march(20))]
    jobs = [
        job("J-1", serial="H3-0714"),
        job("J-2", march(16), serial="h3-998", priority=1),
        job("J-3", march(23), serial="H3-0714"),
        job("J-4", serial="H4-0117"),
        job("J-5", serial="H3-0714", quantity=2),
    ]
    shop = make_shop(lines, jobs=jobs)
    recipes, of_job = group_recipes(compile_structure(shop.catalog), jobs, frozenset())
    assert of_job.tolist() == [0, 0, 1, 2, 3]
    assert [recipe.quantity for recipe in recipes] == [1, 1, 1, 2]


def test_a_job_with_a_history_of_its_own_stands_alone():
    jobs = [job("J-1"), job("J-2"), job("J-3")]
    structure = compile_structure(make_shop(ENDS, jobs=jobs).catalog)
    assert group_recipes(structure, jobs, frozenset({"J-2"}))[1].tolist() == [0, 1, 0]


@pytest.mark.parametrize("stage", ["held", "built", "tested", "shipped", "cancelled"])
def test_a_job_that_waits_or_is_done_asks_for_nothing(stage):
    assert answer(make_shop(ENDS, jobs=[job(stage=stage)]))["demand"] == []


@pytest.mark.parametrize("stage", ["expected", "here", "stripped", "building"])
def test_a_job_that_is_to_be_built_asks(stage):
    assert sure(make_shop(ENDS, jobs=[job(stage=stage)])) == {"cup": 6, "seat": 4}
