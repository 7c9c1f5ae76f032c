"""A kit on the shelf is what is in its bag: what it is without is asked for by the job that takes it."""

from collections import Counter
from dataclasses import replace

import pytest

from bom.answers.rows import as_json
from bom.demand.checks import check
from bom.explain import Number, explain
from bom.plan import plan
from bom.values import ONE, Issue, Item, KitFit, OtherNeed
from tests.bom.results import Result, fills_a_kit
from tests.bom.small_shops import (
    BUILD,
    FKM,
    NBR,
    NEED,
    answer,
    demand_of,
    holds,
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
    statuses,
)
from tests.bom.validators import breaches
from tests.oracle.explosion import contents_of
from tests.shops import random_shop, with_bags

FITS = [KitFit("K", "PUMP")]
LINES = [renew("PUMP", "ring", 2), renew("PUMP", "cup"), holds("K", "ring", 2), holds("K", "cup")]


def bag(*held, count=1, code="L", part="K", **more):
    """A lot of kits of which each holds so many of each part."""
    return lot(part, count, code, contents=tuple((name, number * ONE) for name, number in held), **more)


def shop(*lots, source="buy", lines=LINES, **more):
    return make_shop(lines, items=[kit(source=source)], fits=FITS, lots=lots, **more)


def job_row(found):
    return pick(found["jobs"][0], "status", "blocking_part")


def test_a_bag_as_its_list_has_it_asks_for_nothing():
    assert answer(shop(bag(("ring", 2), ("cup", 1)))) == answer(shop(lot("K", 1)))
    assert job_row(answer(shop(lot("K", 1)))) == ("ready", None)


def test_what_the_bag_is_without_is_bought_for_the_job():
    found = answer(shop(bag(("ring", 1), ("cup", 1))))
    assert job_row(found) == ("short", "ring")
    assert pick(row_of(found["buy"], "ring"), "short", "need_on", "jobs") == (1, NEED, ["J-1"])
    assert pick(row_of(found["demand"], "ring"), "sure", "passed_down", "uncovered") == (0, 1, 1)


def test_only_what_the_bag_is_without_becomes_a_piece():
    found = Result(plan(shop(bag(("ring", 1), ("cup", 1)))))
    assert [(piece.part_number, piece.quantity) for piece in found.pieces] == [("K", ONE), ("ring", ONE)]


def test_a_bag_without_the_last_millionth_asks_for_it():
    lines = [renew("PUMP", "ring", 2), replace(renew("PUMP", "cord"), quantity=1)]
    lines += [holds("K", "ring", 2), replace(holds("K", "cord"), quantity=1)]
    items = [kit(), Item("cord", countable=False, lead_days=5)]
    (row,) = plan(make_shop(lines, items=items, fits=FITS, lots=[bag(("ring", 2))])).buy
    assert row.short == 1


def test_a_part_in_the_bag_that_no_list_knows_serves_nobody():
    assert answer(shop(bag(("ring", 2), ("cup", 1), ("washer", 9)))) == answer(shop(lot("K", 1)))


def test_what_the_bag_is_without_is_taken_from_the_shelf():
    found = answer(shop(bag(("ring", 1), ("cup", 1)), lot("ring", 1)))
    assert job_row(found) == ("ready", None)
    assert found["buy"] == []


@pytest.mark.parametrize(("promised", "status"), [(march(11), "waiting"), (march(12), "late")])
def test_what_the_bag_is_without_may_be_on_order(promised, status):
    found = answer(shop(bag(("ring", 1), ("cup", 1)), orders=[order("ring", 9, promised)]))
    assert found["jobs"][0]["status"] == status


def test_a_piece_replaced_by_another_is_missing_and_the_other_serves_nobody():
    found = answer(shop(bag(("ring", 2), ("old cup", 1)), lot("old cup", 0, "N")))
    assert job_row(found) == ("short", "cup")
    more = answer(shop(bag(("ring", 5), ("cup", 0))))
    assert pick(row_of(more["buy"], "cup"), "short") == (1,)


def test_only_the_kits_that_are_drawn_count():
    """Two jobs: one takes the whole bag that dies first, the other the bag without a cup."""
    jobs = [job("J-1"), job("J-2")]
    whole, poor = bag(("ring", 2), ("cup", 1), code="A", last_use=march(30)), bag(("ring", 2), code="B")
    found = answer(shop(whole, poor, jobs=jobs))
    assert statuses(found) == {"J-1": "ready", "J-2": "short"}
    assert answer(shop(whole, poor))["buy"] == []


def test_every_kit_of_the_lot_is_without_it():
    found = answer(shop(bag(("ring", 2), count=3), jobs=[job(quantity=3)]))
    assert row_of(found["buy"], "cup")["short"] == 3


def test_a_kit_set_aside_for_the_job_is_what_is_in_its_bag_too():
    issues = (Issue("J-1", "K", "L", ONE, "reserved"),)
    assert job_row(answer(shop(bag(("ring", 2)), issues=issues))) == ("short", "cup")


def test_lines_that_do_not_apply_to_the_job_are_not_missed():
    lines = [*LINES, holds("K", "hard", options=FKM), holds("K", "soft", options=NBR)]
    held = bag(("ring", 2), ("cup", 1), ("soft", 1))
    assert job_row(answer(shop(held, lines=lines, jobs=[job(options=NBR)]))) == ("ready", None)
    assert job_row(answer(shop(held, lines=lines, jobs=[job(options=FKM)]))) == ("short", "hard")


def test_a_kit_at_the_door_is_filled_up_as_well():
    found = answer(shop(bag(("ring", 2)), jobs=(), needs=[OtherNeed("VAN", "K", ONE, BUILD)]))
    assert pick(found["other_needs"][0], "need", "status") == ("VAN", "short")
    assert row_of(found["buy"], "cup")["jobs"] == ["VAN"]


NESTED = [
    renew("PUMP", "ring", 2),
    renew("PUMP", "cup"),
    holds("K", "K-2"),
    holds("K", "cup"),
    holds("K-2", "ring", 2),
]


def test_what_a_kit_inside_a_packed_kit_is_without_holds_the_packing():
    stock = (bag(("ring", 1), part="K-2"), lot("cup", 1))
    made = make_shop(NESTED, items=[kit(source="pack", lead_days=1), kit("K-2")], fits=FITS, lots=stock)
    assert check(made) == ()
    found = answer(made)
    assert job_row(found) == ("short", "ring")
    assert demand_of(made, "ring")["passed_down"] == 1
    filled = make_shop(
        NESTED, items=[kit(source="pack", lead_days=1), kit("K-2")], fits=FITS, lots=(*stock, lot("ring", 1))
    )
    assert answer(filled)["jobs"][0]["status"] == "waiting"
    ordered = replace(made, orders=(order("ring", 1, march(10)),))
    assert answer(ordered)["jobs"][0]["parts_on"] == "2026-03-11"


def test_a_bag_under_pump_sections_is_asked_for_once_a_kit():
    lines = [opens("PUMP", "end", 2), renew("end", "ring", 2), holds("K", "ring", 2)]
    made = make_shop(lines, items=[kit()], fits=[KitFit("K", "end")], lots=(bag(("ring", 1), count=5),))
    assert row_of(answer(made)["buy"], "ring")["short"] == 2


# --- random shops


def short_bags(seed):
    """What is asked for beside kits from the shelf, and what those are without: by job, wear, kit and part."""
    found = Result(plan(with_bags(random_shop(seed), seed)))
    asked, lacking = Counter(), Counter()
    for piece in found.pieces:
        if fills_a_kit(found, piece):
            asked[piece.name, piece.wear, piece.way, piece.part_number] += piece.quantity
        for place, quantity in piece.lots:
            recorded = found.shop.lots[place].contents
            listed = contents_of(found.structure, piece.part_number, found.conditions(piece))
            for part, each in listed.items() if recorded is not None else ():
                less = max(0, each - dict(recorded).get(part, 0))
                lacking[piece.name, piece.wear, piece.part_number, part] += less * quantity // ONE
    set_aside = {(issue.job, issue.part_number) for issue in found.shop.issues}
    return asked, lacking, set_aside


def test_jobs_ask_for_what_their_kits_are_without_and_for_no_more():
    """A kit set aside is drawn without its lot being told, so that more may be asked for it."""
    seen = 0
    for seed in range(60):
        asked, lacking, set_aside = short_bags(seed)
        for key in asked | lacking:
            job, _, name, _ = key
            assert asked[key] >= lacking[key], f"seed {seed}: {key}"
            assert asked[key] == lacking[key] or (job, name) in set_aside, f"seed {seed}: {key}"
            seen += lacking[key] > 0
    assert seen > 20


def test_every_rule_of_a_plan_holds_with_such_kits():
    for seed in range(40):
        assert breaches(plan(with_bags(random_shop(seed), seed))) == [], f"seed {seed}"


def test_what_is_passed_down_is_explained_with_its_own_value():
    told = 0
    for seed in range(20):
        made = plan(with_bags(random_shop(seed), seed))
        for row in as_json(made)["demand"]:
            why = explain(made, Number("demand", "passed_down", (row["part_number"],)))
            assert why.value == pytest.approx(row["passed_down"] * ONE), f"seed {seed}: {row}"
            told += any(part.says == "missing in the bag" for part in why.parts)
    assert told > 5


def test_what_fills_a_bag_and_what_packing_asks_are_told_apart():
    """The kit is the first item of the shop, and the first piece of the plan."""
    filled = plan(shop(bag(("ring", 1), ("cup", 1))))
    packed = plan(shop(source="pack"))
    (short,), (inside,) = (explain(made, Number("demand", "passed_down", ("ring",))).parts for made in (filled, packed))
    assert (short.says, short.value) == ("missing in the bag", ONE)
    assert (inside.says, inside.value) == ("contents", 2 * ONE)


def test_what_fills_a_bag_inside_a_kit_that_is_packed_is_told_as_such():
    stock = (bag(("ring", 1), part="K-2"), lot("cup", 1))
    made = plan(make_shop(NESTED, items=[kit(source="pack", lead_days=1), kit("K-2")], fits=FITS, lots=stock))
    (ring,) = explain(made, Number("demand", "passed_down", ("ring",))).parts
    assert (ring.says, ring.value) == ("missing in the bag", ONE)
