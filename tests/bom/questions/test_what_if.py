"""Two plans in, the differences out: the demo shop with one job moved, small shops by hand, and laws on random ones."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from functools import cache

import pytest

from bom.answers.rows import as_json
from bom.errors import ShopError
from bom.plan import plan
from bom.questions.what_if import changed, compare
from bom.values import ASKING_STAGES, ONE, Issue, Item, ScopeSection
from tests.bom.results import plan_of
from tests.bom.small_shops import (
    BUILD,
    FKM,
    NBR,
    inspect,
    job,
    kit,
    lot,
    make_shop,
    march,
    offer,
    order,
    renew,
    sure,
)
from tests.demo_shop import demo_shop


@pytest.fixture(scope="module")
def demo():
    shop = demo_shop()
    return shop, plan(shop)


def by_name(rows):
    return {row.name: row for row in rows}


def move_in_demo(demo, job_name, on):
    shop, before = demo
    return compare(before, plan(changed(shop, move={job_name: on})))


def test_a_job_moved_forward_gains_and_another_loses(demo):
    found = move_in_demo(demo, "J-3122", date(2026, 3, 31))
    assert [(row.name, row.before.status, row.after.status) for row in found.winners] == [
        ("J-3122", "short", "waiting")
    ]
    assert [(row.name, row.before.status, row.after.status) for row in found.losers] == [("J-3119", "waiting", "short")]
    assert found.losers[0].after.blocking_part == "SE-M"
    assert [row.name for row in found.moved] == ["J-3122"]
    assert found.winners[0].before.build_on == date(2026, 4, 15)
    assert found.winners[0].after.build_on == date(2026, 3, 31)
    assert found.says == (
        "J-3122 gains (short before, now waiting) and J-3119 loses (waiting before, now short); 2 lines to buy change, "
        "and the sure ones come to 840.50, as before."
    )


def test_a_dying_cup_seal_serves_the_moved_job(demo):
    found = by_name(move_in_demo(demo, "J-3122", date(2026, 3, 31)).purchases)
    assert (found["CS-34-U"].before.short, found["CS-34-U"].after.short) == (5 * ONE, 4 * ONE)
    assert found["CS-34-U"].before.price == found["CS-34-U"].after.price == Decimal("47.00")
    assert (found["SE-M"].before.jobs, found["SE-M"].after.jobs) == (
        ("J-3118", "J-3122", "J-3124"),
        ("J-3118", "J-3119", "J-3124"),
    )


def test_on_the_day_before_the_moved_job_would_be_late(demo):
    found = by_name(move_in_demo(demo, "J-3122", date(2026, 3, 30)).changes)
    assert (found["J-3122"].after.status, found["J-3122"].after.parts_on) == ("late", date(2026, 3, 30))
    assert found["J-3122"].effect == "better"


def test_a_late_job_is_hurried_in_the_second_plan_only(demo):
    found = move_in_demo(demo, "J-3122", date(2026, 3, 30))
    seats = {row.name: row for row in found.expedite}["PO-7104 line 1"]
    assert (seats.before.quantity, seats.after.quantity) == (4 * ONE, 6 * ONE)
    assert seats.after.jobs == ("J-3111", "J-3122")
    assert seats.kind == "changes"


def test_a_dropped_job_sets_its_kit_free():
    shop = make_shop(
        [renew("PUMP", "RING")],
        items=[kit("K")],
        jobs=[job("J-1"), job("J-2", march(13))],
        lots=[lot("RING", 1)],
    )
    found = compare(plan(shop), plan(changed(shop, drop=["J-1"])))
    assert [row.name for row in found.removed] == ["J-1"]
    assert [(row.name, row.after.status) for row in found.winners] == [("J-2", "ready")]
    assert [(row.name, row.kind, row.after) for row in found.purchases] == [("RING", "vanishes", None)]
    assert found.says == "J-2 gains (short before, now ready); J-1 is left out; 1 line to buy changes."


def test_two_who_gain_and_one_who_loses_are_told_as_one_reads_them_aloud():
    first, second, third = (job(f"J-{number}") for number in (1, 2, 3))
    shop = make_shop([renew("PUMP", "RING")], jobs=[first, second, third], lots=[lot("RING", 2)])
    before = replace(shop, jobs=(first, second, replace(third, priority=1)), lots=(lot("RING", 1),))
    found = compare(plan(before), plan(shop))
    gains = [f"J-{number} gains (short before, now ready)" for number in (1, 2)]
    assert found.says.startswith(f"{gains[0]}, {gains[1]} and J-3 loses (ready before, now short);")


def test_a_dropped_job_gives_back_what_is_reserved_for_it_and_keeps_its_verdicts():
    issues = (Issue("J-1", "RING", "L", ONE, "reserved"), Issue("J-1", "RING", "L", ONE, "bagged"))
    shop = make_shop([renew("PUMP", "RING")], jobs=[job("J-1"), job("J-2")], lots=[lot("RING", 1)], issues=issues)
    left = changed(shop, drop=["J-1"])
    assert [row.stage for row in left.jobs] == ["cancelled", "expected"]
    assert left.issues == issues[1:]
    assert [answer.status for answer in plan(left).answers] == ["ready"]


def test_a_job_of_higher_priority_takes_the_last_ring():
    shop = make_shop([renew("PUMP", "RING")], jobs=[job("J-1"), job("J-2")], lots=[lot("RING", 1)])
    found = compare(plan(shop), plan(changed(shop, reprioritise={"J-2": 1})))
    assert ([row.name for row in found.winners], [row.name for row in found.losers]) == (["J-2"], ["J-1"])
    assert [(row.before.priority, row.after.priority) for row in found.winners] == [(5, 1)]


def test_another_scope_asks_for_other_parts():
    shop = make_shop(
        [renew("PUMP", "RING"), renew("END", "CUP")],
        scopes=[ScopeSection("PUMP", "ends", "END", 1)],
        offers=[offer("CUP", "7.00"), offer("RING", "2.00")],
    )
    found = by_name(compare(plan(shop), plan(changed(shop, scope={"J-1": "ends"}))).purchases)
    assert (found["RING"].kind, found["CUP"].kind) == ("vanishes", "appears")
    assert (found["RING"].before.price, found["CUP"].after.price) == (Decimal("2.00"), Decimal("7.00"))


def test_an_overdue_order_leaned_on_makes_a_job_worse():
    shop = make_shop([renew("PUMP", "RING")], orders=[order("RING", 1, march(6))])
    late = replace(shop, orders=(order("RING", 1, march(3)),))
    found = compare(plan(shop), plan(late))
    assert [(row.name, row.after.leans_on_overdue) for row in found.losers] == [("J-1", True)]
    assert [(row.name, row.kind, row.after.jobs) for row in found.chase] == [("PO-1 line 1", "appears", ("J-1",))]


def test_kits_to_pack_are_compared():
    shop = make_shop(
        [renew("PUMP", "KIT"), replace(renew("KIT", "RING"), at_rebuild="")],
        items=[kit("KIT", "pack", lead_days=1)],
        lots=[lot("RING", 9)],
    )
    found = compare(plan(shop), plan(replace(shop, jobs=(job(quantity=3),))))
    assert [(row.name, row.before.quantity, row.after.quantity) for row in found.pack] == [("KIT", ONE, 3 * ONE)]


def test_a_change_that_does_nothing_is_said_in_words():
    shop = make_shop([renew("PUMP", "RING")], lots=[lot("RING", 1)])
    found = compare(plan(shop), plan(shop))
    assert found.says == "Nothing changes: every job, every line to buy and every order stays as it is."


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"move": {"J-9": BUILD}}, "No job J-9 is planned, so it cannot be moved; name one of J-1."),
        ({"drop": ["J-9"]}, "No job J-9 is planned, so it cannot be left out; name one of J-1."),
        (
            {"reprioritise": {"J-1": 0}},
            "Priority 0 of job J-1 is not known; give a whole number from 1, which goes first, to 9.",
        ),
        ({"scope": {"J-1": "all"}}, "PUMP has no scope 'all' for job J-1; known for it: reseal."),
        ({"quantity": {"J-1": 0}}, "Job J-1 cannot rebuild 0 pumps; give a whole number from 1 on."),
        ({"pump": {"J-1": "RING"}}, "No pump RING is known for job J-1; known are: PUMP."),
    ],
)
def test_a_change_that_cannot_be_is_refused_in_one_sentence(change, says):
    shop = make_shop([renew("PUMP", "RING")])
    with pytest.raises(ShopError) as refused:
        changed(shop, **change)
    assert [fault.says for fault in refused.value.faults] == [says]


def test_a_job_is_counted_anew_and_fitted_otherwise():
    lines = [renew("PUMP", "RING", options=NBR), renew("PUMP", "CUP", options=FKM)]
    shop = make_shop(lines, jobs=[job(options=NBR)])
    assert sure(changed(shop, quantity={"J-1": 3})) == {"RING": 3}
    assert sure(changed(shop, options={"J-1": FKM})) == {"CUP": 1}


def test_a_job_is_given_another_pump_with_a_scope_of_that_pump():
    two = Item("TWO", "pump", lead_days=5)
    scopes = [ScopeSection("TWO", "both ends", "TWO", 1)]
    shop = make_shop([renew("PUMP", "RING"), renew("TWO", "RING", 2)], items=[two], scopes=scopes)
    with pytest.raises(ShopError) as refused:
        changed(shop, pump={"J-1": "TWO"})
    assert [fault.says for fault in refused.value.faults] == [
        "TWO has no scope 'reseal' for job J-1; known for it: both ends."
    ]
    assert sure(changed(shop, pump={"J-1": "TWO"}, scope={"J-1": "both ends"})) == {"RING": 2}


def test_all_faults_of_a_change_are_named():
    shop = make_shop([renew("PUMP", "RING")])
    with pytest.raises(ShopError) as refused:
        changed(shop, move={"J-8": BUILD}, drop=["J-9"])
    assert len(refused.value.faults) == 2


def test_a_strip_date_is_not_left_after_the_build_it_is_for():
    shop = make_shop([renew("PUMP", "RING")], jobs=[job(strip_on=march(10))])
    assert changed(shop, move={"J-1": march(9)}).jobs[0].strip_on == march(9)
    assert changed(shop, move={"J-1": march(19)}).jobs[0].strip_on == march(10)


def another(shop, seed):
    """The same shop with one asking job moved, left out or put first."""
    asking = [row.job for row in shop.jobs if row.stage in ASKING_STAGES]
    if not asking:
        return shop
    name = asking[seed % len(asking)]
    changes = ({"move": {name: shop.as_of + timedelta(days=seed % 17)}}, {"drop": [name]}, {"reprioritise": {name: 1}})
    return changed(shop, **changes[seed % 3])


@cache
def planned_twice(seed):
    before = plan_of(seed)
    return before, plan(another(before.shop, seed), before.demand.structure)


def test_there_and_back_are_mirror_images():
    for seed in range(40):
        before, after = planned_twice(seed)
        there, back = compare(before, after), compare(after, before)
        assert [row.name for row in there.winners] == [row.name for row in back.losers], seed
        assert [row.name for row in there.added] == [row.name for row in back.removed], seed
        for name in ("changes", "purchases", "expedite", "chase", "pack"):
            forth, rear = getattr(there, name), getattr(back, name)
            assert [(row.name, row.before, row.after) for row in forth] == [
                (row.name, row.after, row.before) for row in rear
            ], (seed, name)
        assert (there.before, there.after) == (back.after, back.before)


def test_what_is_not_listed_is_the_same_in_both_plans():
    """Differences put onto the first plan's rows give the second plan's rows."""
    for seed in range(40):
        before, after = planned_twice(seed)
        found = compare(before, after)
        assert not any(row.before == row.after for row in (*found.changes, *found.purchases)), seed
        first, second = as_json(before), as_json(after)
        changed_jobs = {row.name for row in found.changes}
        same = [row for row in first["jobs"] if row["job"] not in changed_jobs]
        assert same == [row for row in second["jobs"] if row["job"] not in changed_jobs], seed
        changed_parts = {row.name for row in found.purchases}
        same = [row for row in first["buy"] if row["part_number"] not in changed_parts]
        assert same == [row for row in second["buy"] if row["part_number"] not in changed_parts], seed
        for name in ("expedite", "chase", "pack"):
            touched = {row.name for row in getattr(found, name)}
            left = [[row for row in answer[name] if row_name(row) not in touched] for answer in (first, second)]
            assert left[0] == left[1], (seed, name)


def row_name(row):
    return row["kit"] if "kit" in row else f"{row['order']} line {row['line']}"


def test_money_of_sure_lines_and_of_the_rest_stand_apart(demo):
    _, before = demo
    found = compare(before, before)
    assert found.before == found.after
    assert (found.before.sure, found.before.beyond_sure, found.before.unpriced) == (
        Decimal("840.50"), Decimal("5363.00"), 0,
    )  # fmt: skip


def test_a_line_with_both_is_split_at_what_the_sure_part_would_cost_alone():
    """Two sure and three for wear: three packs of two at 1.00, of which the sure ones fill the first."""
    shop = make_shop(
        [renew("PUMP", "RING", 2), inspect("PUMP", "RING", 100, 3, position="other")],
        offers=[offer("RING", "1.00", pack=2)],
    )
    found = compare(plan(shop), plan(replace(shop, lots=(lot("RING", 2),))))
    assert (found.before.sure, found.before.beyond_sure) == (Decimal("1.00"), Decimal("2.00"))
    assert (found.after.sure, found.after.beyond_sure) == (Decimal("0.00"), Decimal("2.00"))
