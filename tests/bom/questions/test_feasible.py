"""The earliest day for each job, and what frees most jobs: by hand, on the demo shop, and against the plan itself."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from itertools import combinations

import pytest

from bom.answers.rows import as_json
from bom.plan import plan
from bom.questions.feasible import Dying, HoldUp, earliest_builds, what_frees
from bom.questions.what_if import changed
from bom.reading import Reading
from bom.status.jobs import holding_items
from bom.values import ONE, Item, Lot, OrderLine, OtherNeed, ScopeSection
from tests.bom.results import plan_of
from tests.bom.small_shops import holds, job, kit, lot, make_shop, march, offer, order, renew
from tests.demo_shop import demo_shop


@pytest.fixture(scope="module")
def demo():
    return plan(demo_shop())


def earliest(shop):
    return {row.job: row for row in earliest_builds(plan(shop))}


def rings(count=2, **more):
    return make_shop([renew("PUMP", "RING", count)], **more)


# --- earliest day


def test_staging_stands_between_the_last_part_and_the_build():
    """An order promised on Friday 20 March lets the pump be built on Monday."""
    found = earliest(rings(orders=[order("RING", 2, march(20))]))["J-1"]
    assert (found.parts_on, found.earliest_on, found.days_to_spare) == (march(20), march(23), -7)
    assert found.status == "late"
    assert earliest(rings(orders=[order("RING", 2, march(20))], staging_days=0))["J-1"].earliest_on == march(20)


def test_a_promise_for_a_closed_day_counts_from_the_next_open_one():
    found = earliest(rings(orders=[order("RING", 2, march(21))]))["J-1"]
    assert (found.parts_on, found.earliest_on) == (march(21), march(24))


def test_a_job_with_all_parts_here_may_be_built_tomorrow():
    found = earliest(rings(lots=[lot("RING", 2)]))["J-1"]
    assert (found.earliest_on, found.days_to_spare) == (march(5), 5)


def test_a_job_in_time_is_never_told_a_later_day_than_its_own():
    shop = rings(
        lots=[lot("RING", 2)],
        jobs=[
            job(build_on=march(4)),
        ],
    )
    found = earliest(shop)["J-1"]
    assert (found.status, found.earliest_on, found.days_to_spare) == ("ready", march(4), 0)


def test_an_unknown_lead_time_leaves_the_day_open():
    found = earliest(rings(items=[Item("RING", lead_days=None)]))["J-1"]
    assert (found.parts_on, found.earliest_on, found.days_to_spare) == (None, None, None)
    assert found.blocking_part == "RING"


def test_a_lot_that_dies_before_the_earliest_day_is_named():
    shop = make_shop(
        [renew("PUMP", "RING", 2), renew("PUMP", "CUP")],
        lots=[lot("CUP", 3, "OLD", last_use=march(13))],
        orders=[order("RING", 2, march(20))],
    )
    assert earliest(shop)["J-1"].dying == (Dying("CUP", "OLD", march(13), ONE),)


def test_the_earliest_days_of_the_demo_shop(demo):
    found = {row.job: row for row in earliest_builds(demo)}
    assert len(found) == 24
    assert (found["J-3103"].earliest_on, found["J-3103"].days_to_spare) == (date(2026, 3, 19), -6)
    assert (found["J-3110"].earliest_on, found["J-3110"].blocking_part) == (date(2026, 4, 20), "OR-011-F75X")
    assert found["J-3111"].leans_on_overdue
    assert found["J-3122"].days_to_spare == 11
    # Staging goes over Easter: the parts of J-3124 are here on 30 March, and it is to be built on 17 April.
    assert found["J-3124"].earliest_on == date(2026, 3, 31)


@pytest.mark.parametrize("late", ["J-3103", "J-3109", "J-3120"])
def test_a_late_job_moved_to_its_earliest_day_is_in_time(demo, late):
    on = {row.job: row.earliest_on for row in earliest_builds(demo)}[late]
    answers = {row["job"]: row for row in as_json(plan(changed(demo.shop, move={late: on})))["jobs"]}
    assert (answers[late]["status"], answers[late]["days_late"]) == ("waiting", 0)


def test_the_earliest_day_is_the_first_whose_need_date_the_parts_meet():
    for seed in range(80):
        worked_out = plan_of(seed)
        shop = worked_out.shop
        for row in earliest_builds(worked_out):
            if row.parts_on is None:
                assert row.earliest_on is None
                continue
            days = (shop.as_of + timedelta(days=more) for more in range(400))
            open_days = (day for day in days if worked_out.calendar.on_or_after(day) == day)
            first = next(day for day in open_days if worked_out.calendar.back(day, shop.staging_days) >= row.parts_on)
            in_time = next(answer for answer in worked_out.answers if answer.name == row.job).days_late == 0
            assert row.earliest_on == (min(first, row.build_on) if in_time else first), (seed, row)


# --- what frees


def test_one_part_that_holds_two_jobs_stands_first_with_its_price():
    shop = make_shop(
        [renew("PUMP", "RING"), renew("END", "CUP")],
        scopes=[ScopeSection("PUMP", "ends", "END", 1)],
        jobs=[job("J-1"), job("J-2"), job("J-3", scope="ends")],
        offers=[offer("RING", "9.50", pack=10), offer("CUP", "47.00", pack=5)],
    )
    found = what_frees(plan(shop)).singles
    assert [(row.part_numbers, row.jobs, row.price) for row in found] == [
        (("RING",), ("J-1", "J-2"), Decimal("9.50")),
        (("CUP",), ("J-3",), Decimal("47.00")),
    ]
    assert [(buy.packs, buy.order_quantity, buy.means) for buy in found[0].to_do] == [(1, 10 * ONE, "buy")]


def test_two_parts_free_a_job_together_that_neither_frees_alone():
    shop = make_shop(
        [renew("PUMP", "RING"), renew("PUMP", "CUP")],
        jobs=[job("J-1"), job("J-2")],
        lots=[lot("CUP", 1)],
        offers=[offer("RING", "2.00"), offer("CUP", "3.00")],
    )
    found = what_frees(plan(shop))
    assert [(row.part_numbers, row.jobs) for row in found.singles] == [(("RING",), ("J-1",))]
    assert [(row.part_numbers, row.jobs, row.only_together, row.price) for row in found.pairs] == [
        (("CUP", "RING"), ("J-1", "J-2"), ("J-2",), Decimal("7.00"))
    ]


def test_an_order_that_comes_late_is_hurried_not_bought():
    shop = rings(orders=[order("RING", 2, march(20))], offers=[offer("RING", "1.00", lead_days=2)])
    (found,) = what_frees(plan(shop)).singles
    (hurry,) = found.to_do
    assert (hurry.means, hurry.price, hurry.here_on, found.in_time) == ("hurry", None, march(6), ("J-1",))


def test_a_purchase_that_leaves_a_part_on_a_late_order_is_not_called_in_time():
    """Two rings are on an order that comes too late, one on none: to buy the one does not make the job whole."""
    shop = rings(3, orders=[order("RING", 2, march(20))], offers=[offer("RING", "1.00", lead_days=2)])
    (found,) = what_frees(plan(shop)).singles
    (buy,) = found.to_do
    assert (buy.means, buy.order_quantity, buy.hurry_too, found.jobs, found.in_time) == (
        "buy", ONE, True, ("J-1",), ()
    )  # fmt: skip


def test_a_kit_late_by_its_packing_time_alone_is_packed_sooner():
    shop = make_shop(
        [renew("PUMP", "K"), holds("K", "RING")],
        items=[kit("K", "pack", lead_days=9)],
        lots=[lot("RING", 5)],
    )
    (found,) = what_frees(plan(shop)).singles
    assert (found.part_numbers, found.to_do[0].means, found.in_time) == (("K",), "pack", ())


def test_what_cannot_be_here_in_time_is_not_called_so():
    shop = rings(jobs=[job("J-1", march(9)), job("J-2", march(20))])
    (found,) = what_frees(plan(shop)).singles
    assert (found.jobs, found.in_time) == (("J-1", "J-2"), ("J-2",))


def test_other_needs_are_not_counted_as_jobs():
    shop = rings(jobs=(), needs=[OtherNeed("VAN", "RING", ONE, march(20))])
    assert what_frees(plan(shop)).singles == ()


def leaning_shop(**more):
    """Two jobs: J-1 lacks a ring, J-2 waits for nothing but a cup that should have come on Monday."""
    lines = [renew("PUMP", "CUP"), renew("END", "RING")]
    usual = {
        "scopes": [ScopeSection("PUMP", "ends", "END", 1), ScopeSection("PUMP", "whole", "PUMP", 1)],
        "jobs": [job("J-1", scope="ends"), job("J-2", scope="whole")],
        "orders": [order("CUP", 3, march(2), name="PO-9")],
        "offers": [offer("CUP", "3.00", lead_days=4)],
    }
    return make_shop(lines, **{**usual, **more})


def test_an_overdue_order_frees_the_jobs_that_lean_on_nothing_else():
    found = what_frees(plan(leaning_shop()))
    assert [(row.holds, row.jobs, row.in_time) for row in found.singles] == [
        ((HoldUp("PO-9", is_order=True),), ("J-2",), ("J-2",)),
        ((HoldUp("RING"),), ("J-1",), ("J-1",)),
    ]
    (chase,) = found.singles[0].to_do
    assert (chase.means, chase.parts, chase.need_on, chase.here_on, chase.price) == (
        "chase", ("CUP",), march(11), march(10), None,
    )  # fmt: skip


def test_a_purchase_frees_no_job_that_leans_on_an_overdue_order_besides():
    shop = leaning_shop(jobs=[job("J-1", scope="ends"), job("J-2", scope="both")])
    scopes = (*shop.catalog.scopes, *(ScopeSection("PUMP", "both", one, 1) for one in ("PUMP", "END")))
    found = what_frees(plan(replace(shop, catalog=replace(shop.catalog, scopes=scopes))))
    assert [(row.part_numbers, row.jobs) for row in found.singles] == [(("RING",), ("J-1",))]
    assert [(row.holds, row.jobs, row.only_together) for row in found.pairs] == [
        ((HoldUp("PO-9", is_order=True), HoldUp("RING")), ("J-1", "J-2"), ("J-2",))
    ]


def test_an_order_ranks_with_purchases_and_before_those_that_free_no_more():
    shop = leaning_shop(jobs=[job("J-1", scope="ends"), job("J-2", scope="whole"), job("J-3", scope="whole")])
    assert [row.holds[0].name for row in what_frees(plan(shop)).singles] == ["PO-9", "RING"]
    shop = replace(shop, jobs=(*shop.jobs, job("J-4", scope="ends"), job("J-5", scope="ends")))
    assert [row.holds[0].name for row in what_frees(plan(shop)).singles] == ["RING", "PO-9"]


def test_a_job_that_can_have_the_part_without_the_purchase_is_freed_by_that():
    shop = rings(jobs=[job("J-1"), job("J-2"), job("J-3")], offers=[offer("RING", "1.00")])
    found = what_frees(plan(shop), {("J-2", "RING"): "from_kit", ("J-3", "RING"): "loose"})
    assert [(row.to_do[0].means, row.jobs, row.price) for row in found.singles] == [
        ("from_kit", ("J-2",), None),
        ("loose", ("J-3",), None),
        ("buy", ("J-1",), Decimal("6.00")),
    ]


def test_ways_without_a_purchase_are_not_counted_together():
    """Each is worked out as if it were the only one, so two jobs may have been promised the same kit."""
    shop = rings(jobs=[job("J-1"), job("J-2")])
    found = what_frees(plan(shop), {("J-1", "RING"): "from_kit", ("J-2", "RING"): "from_kit"})
    assert [row.jobs for row in found.singles] == [("J-1",), ("J-2",)]


def test_what_frees_most_in_the_demo_shop(demo):
    """J-3111 and J-3118 lack nothing but seats, and lean on the valve kits of PO-7102 besides."""
    found = what_frees(demo)
    singles = {row.holds[0].name: row.jobs for row in found.singles}
    assert [row.holds[0].name for row in found.singles[:2]] == ["PO-7102", "BR-112"]
    assert singles["PO-7102"] == ("J-3113", "J-3114", "J-3116", "J-3119", "J-3123")
    assert singles["BR-112"] == ("J-3106", "J-3112")
    assert "SE-M" not in singles
    pairs = {tuple(hold.name for hold in row.holds): row for row in found.pairs}
    assert pairs["PO-7102", "SE-M"].only_together == ("J-3111", "J-3118")
    assert pairs["CS-34-U", "SE-M"].only_together == ("J-3122",)
    assert pairs["CS-34-U", "SE-M"].price == Decimal("227.00")


def test_singles_are_the_rows_of_the_plan_without_the_jobs_that_lean_on_an_overdue_order():
    without = 0
    for seed in range(60):
        worked_out = plan_of(seed)
        answer = as_json(worked_out)
        leaning = {row["job"] for row in answer["jobs"] if row["leans_on_overdue"]}
        expected = {row["part_number"]: sorted({*row["jobs"]} - leaning) for row in answer["frees"]}
        found = {
            row.holds[0].name: list(row.jobs) for row in what_frees(worked_out).singles if not row.holds[0].is_order
        }
        assert found == {part: jobs for part, jobs in expected.items() if jobs}, seed
        without += sum(len(row["jobs"]) for row in answer["frees"]) - sum(map(len, expected.values()))
    assert without > 5


def test_overdue_orders_free_the_jobs_that_are_in_time_only_if_they_come():
    freed = 0
    for seed in range(90):
        worked_out = plan_of(seed)
        answer = as_json(worked_out)
        waiting = {row["job"] for row in answer["jobs"] if row["status"] == "waiting" and row["leans_on_overdue"]}
        found = what_frees(worked_out)
        orders = {name: held for name, held in held_jobs(worked_out).items() if all(one.is_order for one in held)}
        assert set(orders) == waiting, seed
        rows = [row for row in (*found.singles, *found.pairs) if all(hold.is_order for hold in row.holds)]
        told = {job for row in rows for job in (row.only_together or row.jobs)}
        assert told == {name for name, all_of_it in orders.items() if len(all_of_it) <= 2}, seed
        freed += len(told)
    assert freed > 5


def test_no_pair_is_forgotten():
    pairs = 0
    for seed in range(24):
        worked_out = plan_of(seed, "medium")
        held = held_jobs(worked_out)
        expected = {}
        for pair in combinations(sorted({hold for of_job in held.values() for hold in of_job}), 2):
            jobs = sorted(name for name, of_job in held.items() if of_job <= set(pair))
            if any(held[name] == set(pair) for name in jobs):
                expected[pair] = tuple(jobs)
        found = what_frees(worked_out).pairs
        assert {row.holds: row.jobs for row in found} == expected, seed
        assert [len(row.jobs) for row in found] == sorted((len(row.jobs) for row in found), reverse=True)
        pairs += len(found)
    assert pairs > 10


def held_jobs(worked_out):
    """What holds each job: parts by the plan, and overdue orders by the lines that its pieces are served from."""
    items, reading = worked_out.demand.structure.items, Reading(worked_out)
    held = {
        worked_out.demand.askers[number].name: {HoldUp(items[item].part_number) for item in parts}
        for number, parts in holding_items(worked_out.netting, worked_out.found, worked_out.demand).items()
        if worked_out.demand.askers[number].job
    }
    for asker in reading.jobs.values():
        for piece in every_piece(reading.pieces_of(asker)):
            for served in piece.served:
                if served.order and served.order.promised < worked_out.shop.as_of:
                    held.setdefault(asker.name, set()).add(HoldUp(served.order.order, is_order=True))
    return held


def every_piece(pieces):
    for piece in pieces:
        yield piece
        yield from every_piece(piece.contents)


def parts_of(held):
    return {hold.name for hold in held if not hold.is_order}


def with_plenty(shop, parts, on=None):
    """The same shop with plenty of some parts, on the shelf or on an order."""
    if on is None:
        plenty = tuple(Lot(part, "PLENTY", 10**4 * ONE, last_use=date(2040, 1, 1)) for part in sorted(parts))
        return replace(shop, lots=(*shop.lots, *plenty))
    plenty = tuple(OrderLine("PO-0", part, part, 10**4 * ONE, on) for part in sorted(parts))
    return replace(shop, orders=(*shop.orders, *plenty))


def test_a_job_is_freed_by_the_parts_that_hold_it():
    """With plenty of them on the shelf it is ready or waits in time, unless the making of something takes too long."""
    freed = 0
    for seed in range(40):
        worked_out = plan_of(seed)
        for name, held in held_jobs(worked_out).items():
            parts = parts_of(held)
            if not parts:
                continue
            after = plan(with_plenty(worked_out.shop, parts))
            row = next(row for row in as_json(after)["jobs"] if row["job"] == name)
            if row["status"] == "late":
                made = after.demand.structure.items[after.demand.structure.index[row["blocking_part"]]]
                assert made.source in ("make", "pack"), (seed, name)
                assert made.lead_days, (seed, name)
                continue
            assert row["status"] in ("ready", "waiting"), (seed, name)
            freed += 1
    assert freed > 30


def test_what_is_bought_today_frees_in_time_the_jobs_that_are_called_so():
    in_time = 0
    for seed in range(80):
        worked_out = plan_of(seed)
        for row in what_frees(worked_out).singles:
            if not row.in_time:
                continue
            (purchase,) = row.to_do
            if purchase.means == "chase":
                continue
            after = as_json(plan(with_plenty(worked_out.shop, row.part_numbers, purchase.here_on)))
            statuses = {answer["job"]: answer["status"] for answer in after["jobs"]}
            assert all(statuses[name] in ("ready", "waiting") for name in row.in_time), (seed, row)
            in_time += len(row.in_time)
    assert in_time > 10


def test_a_kit_that_takes_too_long_to_pack_is_in_time_by_no_purchase():
    shop = make_shop(
        [renew("PUMP", "K"), holds("K", "RING")],
        items=[kit("K", "pack", lead_days=9), Item("RING", lead_days=0)],
    )
    (found,) = what_frees(plan(shop)).singles
    assert (found.part_numbers, found.to_do[0].here_on, found.in_time) == (("RING",), march(4), ())
