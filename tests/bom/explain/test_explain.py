"""Where a number comes from: every way to a part, and the counts that multiply to it."""

from dataclasses import replace

import pytest

from bom.demand.explosion import NO_KIT
from bom.explain import arithmetic, paths
from bom.plan import plan
from bom.values import ONE, Item, KitFit, OtherNeed
from tests.bom.results import plan_of
from tests.bom.small_shops import FKM, NBR, holds, inspect, job, kit, lot, make_shop, march, opens, renew
from tests.shops import random_shop

TWIN = [opens("PUMP", "end", 2), opens("end", "check", 2), renew("check", "seat"), inspect("check", "ball", 35)]


def ways(shop, part):
    return [(row.job, row.at_rebuild, row.quantity // ONE, row.kit, row.says) for row in paths(plan(shop), part)]


def test_the_product_of_a_way_is_shown_from_the_part_upwards():
    shop = make_shop(TWIN, sections=(("end", 2),), jobs=[job(quantity=3)])
    assert ways(shop, "seat") == [("J-1", "renew", 12, None, "1 per check × 2 check per end × 2 end × 3 pumps = 12")]


def test_the_product_is_what_the_steps_say():
    assert arithmetic((("pump", 2), ("end", 2)), 3 * ONE) == "3 per end × 2 end × 2 pumps = 12"
    assert arithmetic((("pump", 1), ("end", 1)), ONE // 2) == "0.5 per end × 1 end × 1 pump = 0.5"


def test_the_steps_run_from_the_pump_to_the_parent():
    (row,) = paths(plan(make_shop(TWIN, sections=(("end", 1),))), "seat")
    assert (row.section, row.steps) == ("end", (("pump", 1), ("end", 1), ("check", 2)))


def test_every_way_has_its_row():
    lines = [*TWIN, renew("end", "seat", 3), opens("PUMP", "drive"), renew("drive", "seat")]
    shop = make_shop(lines, sections=(("end", 2), ("drive", 1)))
    assert sorted((row.section, row.quantity // ONE) for row in paths(plan(shop), "seat")) == [
        ("drive", 1),
        ("end", 4),
        ("end", 6),
    ]


def test_what_is_looked_at_is_told_apart():
    shop = make_shop([*TWIN, renew("end", "ball")], sections=(("end", 2),))
    assert [(at, count) for _, at, count, _, _ in ways(shop, "ball")] == [("renew", 2), ("inspect", 4)]


def test_only_lines_that_the_job_meets_are_ways():
    lines = [renew("PUMP", "ring", position="g", options=NBR), renew("PUMP", "ring", 2, position="g", options=FKM)]
    shop = make_shop(lines, jobs=[job("J-1", options=NBR), job("J-2", options=FKM)])
    assert [row[:3] for row in ways(shop, "ring")] == [("J-1", "renew", 1), ("J-2", "renew", 2)]


def test_a_way_covered_by_a_kit_names_it_and_the_kit_its_assembly():
    shop = make_shop([*TWIN, holds("K", "seat", 2)], items=[kit()], fits=[KitFit("K", "end")], sections=(("end", 2),))
    assert ways(shop, "seat") == [("J-1", "renew", 4, "K", "1 per check × 2 check per end × 2 end × 1 pump = 4")]
    assert ways(shop, "K") == [("J-1", "kit", 2, None, "2 for end")]


def test_what_a_packed_kit_passes_down_is_a_way():
    shop = make_shop(
        [*TWIN, holds("K", "seat", 2)], items=[kit(source="pack")], fits=[KitFit("K", "end")], sections=(("end", 2),),
        lots=[lot("K", 1)],
    )  # fmt: skip
    assert ways(shop, "seat")[1] == ("J-1", "pack", 2, "K", "2 per K × 1 K to pack = 2")


def test_what_wear_passes_down_is_no_jobs():
    lines = [inspect("PUMP", "head", 100), holds("head", "core", 2)]
    shop = make_shop(lines, items=[Item("head", "assembly", source="make")])
    assert ways(shop, "core") == [("", "pack", 2, "head", "2 per head × 1 head to pack = 2")]


def test_other_needs_are_ways_of_their_own():
    shop = make_shop(TWIN, needs=[OtherNeed("sale", "seat", 5 * ONE, march(20), "Dry Dock")], jobs=[])
    assert ways(shop, "seat") == [("sale", "need", 5, None, "5 for Dry Dock")]


def test_jobs_stand_in_order_and_jobs_that_do_not_ask_are_left_out():
    jobs = [job("J-2"), job("J-1"), job("J-3", stage="held")]
    assert [row[0] for row in ways(make_shop(TWIN, jobs=jobs), "seat")] == ["J-1", "J-2"]


def test_a_part_that_is_no_item_is_refused():
    with pytest.raises(KeyError):
        paths(plan(make_shop(TWIN)), "nothing")


def test_the_ways_of_some_jobs_are_those_of_all_jobs_less_the_others():
    for seed in range(8):
        found = plan_of(seed)
        some = range(0, len(found.demand.askers), 2)
        names = {found.demand.askers[number].name for number in some}
        for item in found.shop.catalog.items:
            rows = [row for row in paths(found, item.part_number) if row.job in names]
            assert list(paths(found, item.part_number, some)) == rows


WAYS = ("renew", "finding")


def test_the_ways_of_every_item_add_up_to_its_demand():
    """Strip reports and issues aside, loose ways, kits and what kits lack make what is asked for itself.

    A finding is a way of its own; what goes along with its group stands in the strip report.
    """
    compared = 0
    for seed in range(15):
        shop = replace(random_shop(seed), verdicts=(), issues=())
        found = plan(shop)
        short = short_of_kits(found)
        pieces = found.netting.pieces
        for number, item in enumerate(shop.catalog.items):
            rows = paths(found, item.part_number)
            loose = sum(row.quantity for row in rows if row.at_rebuild in WAYS and row.kit is None)
            along = sum(
                position.quantity
                for report in found.demand.reports.values()
                for position, _ in report.along
                if position.root == NO_KIT and found.demand.structure.child[position.line] == number
            )
            others = sum(row.quantity for row in rows if row.at_rebuild in ("kit", "need"))
            mine = pieces.item == number
            asked = int(pieces.quantity[mine & (pieces.way < 0) & ~pieces.wear].sum())
            if not item.bench:
                assert loose + along + others + short.get(number, 0) == asked, f"seed {seed}, {item.part_number}"
            down = sum(row.quantity for row in rows if row.at_rebuild == "pack")
            assert down == int(pieces.quantity[mine & (pieces.way >= 0)].sum()), f"seed {seed}, {item.part_number}"
            compared += 1
    assert compared > 200


def short_of_kits(found):
    """What kits lack, over all jobs, by item number."""
    kits = found.demand.requirements.kits
    times = [sum(asker.recipe == recipe for asker in found.demand.askers) for recipe in kits.recipe.tolist()]
    total = {}
    for row, item, short in zip(kits.part_row.tolist(), kits.part_item.tolist(), kits.short.tolist(), strict=True):
        total[item] = total.get(item, 0) + short * times[row]
    return total
