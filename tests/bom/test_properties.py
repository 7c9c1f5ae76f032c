"""What must not change, or only one way, when one thing of a shop changes: on random shops.

Two choices are taken away where they would hide a rule. Without offers every lead is the item's own, so that buying
less never means buying later. Kits that are packed or else bought are only packed: they compete for their contents.
"""

import random
from collections import defaultdict
from dataclasses import replace
from datetime import timedelta
from functools import cache

import pytest

from bom.answers.rows import as_json
from bom.plan import plan
from bom.values import ASKING_STAGES, ONE, Lot, OrderLine
from tests.bom.results import ORDER, may_take, plan_of, result_of, serving_order
from tests.shops import random_shop

SEEDS = range(30)


def with_catalog(shop, **lists):
    return replace(shop, catalog=replace(shop.catalog, **lists))


def without_choices(shop):
    items = tuple(
        replace(item, source="pack") if item.source == "pack_else_buy" else item for item in shop.catalog.items
    )  # fmt: skip
    return with_catalog(shop, items=items, offers=())


@cache
def plain(seed):
    shop = without_choices(random_shop(seed))
    return shop, as_json(plan(shop))


def uncovered(answer, column="uncovered"):
    return {row["part_number"]: row[column] for row in answer["demand"] if row[column]}


def no_more(before, after, seed):
    """Nothing lacks more than before, and no job is worse off."""
    for column in ("uncovered", "uncovered_wear"):
        old = uncovered(before, column)
        for part, quantity in uncovered(after, column).items():
            assert quantity <= old.get(part, 0), f"seed {seed}: {column} of {part}"
    states = {row["job"]: ORDER.index(row["status"]) for row in before["jobs"]}
    for row in after["jobs"]:
        assert ORDER.index(row["status"]) <= states[row["job"]], f"seed {seed}: {row}"


# --- more of one thing


def test_twice_the_pumps_ask_for_twice_as_much():
    """Where one kit does one assembly, and nothing was issued or looked at yet."""
    asked = 0
    for seed in SEEDS:
        shop = replace(random_shop(seed), verdicts=(), issues=(), needs=())
        shop = with_catalog(shop, kit_fits=tuple(replace(fit, instances=1) for fit in shop.catalog.kit_fits))
        twice = replace(shop, jobs=tuple(replace(job, quantity=2 * job.quantity) for job in shop.jobs))
        once, doubled = as_json(plan(shop)), as_json(plan(twice))
        for column in ("sure", "positions", "spares"):
            rows = {row["part_number"]: row[column] for row in doubled["demand"] if row[column]}
            expected = {row["part_number"]: 2 * row[column] for row in once["demand"] if row[column]}
            assert rows == pytest.approx(expected), f"seed {seed}: {column}"
            asked += len(rows)
        for row, other in zip(once["kits"], doubled["kits"], strict=True):
            assert other["count"] == 2 * row["count"]
            for column in ("covered", "short", "spare", "surplus"):
                expected = {part: 2 * quantity for part, quantity in row[column].items()}
                assert other[column] == pytest.approx(expected), f"seed {seed}"
    assert asked > 100


ADDED_UP = ("sure", "positions", "spares", "expected")


def test_what_the_jobs_ask_together_is_what_each_asks_alone():
    """Sure needs, open positions and spares know nothing of other jobs; only covers are pooled and only supply shared.

    What was found teaches rates to all jobs, so that nobody has found anything here.
    """
    added = 0
    for seed in SEEDS:
        shop = replace(random_shop(seed), verdicts=(), needs=())
        lists = plan_of(seed).demand.structure
        together = totals(shop, lists)
        alone = [totals(replace(shop, jobs=(job,), issues=of_job(shop, job)), lists) for job in shop.jobs]
        for part in together:
            for column in ADDED_UP:
                one_by_one = sum(one.get(part, {}).get(column, 0) for one in alone)
                assert one_by_one == pytest.approx(together[part][column]), f"seed {seed}: {column} of {part}"
                added += sum(bool(one.get(part, {}).get(column)) for one in alone) > 1
    assert added > 100


def totals(shop, lists):
    return {row["part_number"]: row for row in as_json(plan(shop, lists))["demand"]}


def of_job(shop, job):
    return tuple(issue for issue in shop.issues if issue.job == job.job)


def test_more_stock_lets_nothing_lack_more():
    for seed in SEEDS:
        shop, before = plain(seed)
        rng = random.Random(seed)
        part = rng.choice(sorted({row["part_number"] for row in before["demand"]} or {"P1"}))
        last = rng.choice((None, shop.as_of + timedelta(days=rng.randrange(20))))
        lot = Lot(part, rng.choice(("A-new", "Z-new")), rng.choice((1, 3, 50)) * ONE, last_use=last)
        no_more(before, as_json(plan(replace(shop, lots=(*shop.lots, lot)))), seed)


def test_an_order_more_lets_nothing_lack_more():
    for seed in SEEDS:
        shop, before = plain(seed)
        rng = random.Random(seed)
        part = rng.choice(sorted({row["part_number"] for row in before["demand"]} or {"P1"}))
        day = shop.as_of + timedelta(days=rng.randrange(-5, 25))
        line = OrderLine("PO-0", "1", part, rng.choice((1, 3, 50)) * ONE, day)
        no_more(before, as_json(plan(replace(shop, orders=(*shop.orders, line)))), seed)


def test_enough_stock_of_everything_leaves_nothing_short():
    for seed in SEEDS:
        shop, _ = plain(seed)
        lots = tuple(Lot(item.part_number, "plenty", 10**5 * ONE) for item in shop.catalog.items if item.kind != "pump")
        undated = tuple(replace(item, limited_life=False) for item in shop.catalog.items)
        answer = as_json(plan(with_catalog(replace(shop, lots=lots, issues=()), items=undated)))
        assert uncovered(answer) == uncovered(answer, "uncovered_wear") == {}
        assert {row["status"] for row in answer["jobs"]} <= {"ready"}


def test_a_job_cancelled_leaves_the_others_no_worse():
    better = 0
    for seed in SEEDS:
        shop, before = plain(seed)
        asking = [job for job in shop.jobs if job.stage in ASKING_STAGES]
        if len(asking) < 2:
            continue
        gone = min(asking, key=lambda job: (job.build_on, job.job))
        jobs = tuple(replace(job, stage="cancelled") if job is gone else job for job in shop.jobs)
        after = as_json(plan(replace(shop, jobs=jobs)))
        assert {row["job"] for row in after["jobs"]} == {job.job for job in asking if job is not gone}
        states = {row["job"]: ORDER.index(row["status"]) for row in before["jobs"]}
        for row in after["jobs"]:
            assert ORDER.index(row["status"]) <= states[row["job"]], f"seed {seed}: {row}"
        old = uncovered(before)
        assert all(quantity <= old.get(part, 0) for part, quantity in uncovered(after).items()), f"seed {seed}"
        better += sum(ORDER.index(row["status"]) < states[row["job"]] for row in after["jobs"])
    assert better > 0


# --- wear and what is sure


def with_rates(shop, rate):
    lines = tuple(
        replace(line, renewals_per_100=rate) if line.at_rebuild == "inspect" else line for line in shop.catalog.lines
    )  # fmt: skip
    return with_catalog(shop, lines=lines)


def sure_side(answer):
    columns = ("part_number", "sure", "on_hand", "on_order", "uncovered")
    return {name: answer[name] for name in ("jobs", "other_needs", "kits", "expedite", "chase", "frees")} | {
        "demand": [{column: row[column] for column in columns} for row in answer["demand"] if row["sure"]],
        "short": {row["part_number"]: (row["short"], row["jobs"]) for row in answer["buy"] if row["short"]},
    }


def test_planned_wear_takes_nothing_from_what_is_sure():
    """Whether every part that is looked at is worn or none: the sure side of the plan is the same."""
    moved = 0
    for seed in SEEDS:
        shop = with_catalog(random_shop(seed), offers=())
        none, every = (as_json(plan(with_rates(shop, rate))) for rate in (0, 100))
        assert sure_side(none) == sure_side(every), f"seed {seed}"
        moved += none != every
    assert moved > 10


def test_wear_is_never_planned_below_what_a_lower_certainty_asks():
    for seed in SEEDS:
        shop, _ = plain(seed)
        planned = []
        for sure in (50.0, 90.0, 99.0):
            items = tuple(replace(item, how_sure_percent=sure) for item in shop.catalog.items)
            answer = as_json(plan(with_catalog(shop, items=items)))
            planned.append({row["part_number"]: row["planned_wear"] for row in answer["demand"]})
        for part, quantities in planned[0].items():
            assert quantities <= planned[1].get(part, 0) <= planned[2].get(part, 0), f"seed {seed}: {part}"


# --- the order of the lists


def shuffled(shop, rng):
    def mixed(rows):
        return tuple(rng.sample(rows, len(rows)))

    catalog = shop.catalog
    catalog = replace(
        catalog, items=mixed(catalog.items), lines=mixed(catalog.lines), scopes=mixed(catalog.scopes),
        kit_fits=mixed(catalog.kit_fits), offers=mixed(catalog.offers), finding_rules=mixed(catalog.finding_rules),
    )  # fmt: skip
    names = ("holidays", "lots", "orders", "jobs", "needs", "issues", "verdicts", "findings")
    return replace(shop, catalog=catalog, **{name: mixed(getattr(shop, name)) for name in names})


def test_the_order_of_the_rows_changes_nothing():
    """Only lines have an order of their own, which the sheet states. Every second shop has all its jobs on one day."""
    for seed in SEEDS:
        shop = random_shop(seed)
        lines = tuple(replace(line, order=number) for number, line in enumerate(shop.catalog.lines))
        shop = with_catalog(shop, lines=lines)
        if seed % 2:
            day = shop.as_of + timedelta(days=9)
            shop = replace(shop, jobs=tuple(replace(job, build_on=day, priority=5) for job in shop.jobs))
        assert as_json(plan(shuffled(shop, random.Random(seed)))) == as_json(plan(shop)), f"seed {seed}"


# --- what is shown


def test_batch_and_date_only_hide():
    """Every row that is shown is a row of the whole plan, in its order."""
    hidden = 0
    for seed in SEEDS:
        found = result_of(seed).plan
        everything = result_of(seed).answer
        for batch, through in (("Spring", None), (None, 9), ("Easter", 9)):
            day = None if through is None else found.shop.as_of + timedelta(days=through)
            for name, rows in as_json(found, batch=batch, through=day).items():
                if isinstance(rows, list):
                    assert rows == [row for row in everything[name] if row in rows], f"seed {seed}: {name}"
                    hidden += len(everything[name]) - len(rows)
                else:
                    assert rows == everything[name]
    assert hidden > 100


# --- the oldest first


def older(lot, other):
    """Whether ``lot`` is to be taken before ``other``."""
    keys = []
    for one in (lot, other):
        ranks = [(day is None, day.toordinal() if day else 0) for day in (one.last_use, one.received)]
        keys.append((*ranks, one.lot, one.packet == "sealed", one.place))
    return keys[0] < keys[1]


def free_lots(found):
    """What is left of each lot, by part number and the lot's place in the shop's list."""
    left = defaultdict(dict)
    supplies = found.plan.supplies
    for place, quantity in zip(supplies.lot_place.tolist(), supplies.left.tolist(), strict=True):
        if place >= 0:
            left[found.shop.lots[place].part_number][place] = quantity
    return left


def test_no_older_lot_is_left_for_a_younger_one():
    """Who takes a lot found every older lot that it might use empty: nothing left of it, nothing given away later."""
    compared = 0
    for seed in range(100):
        found = result_of(seed)
        left = free_lots(found)
        choice = {item.part_number for item in found.shop.catalog.items if item.source == "pack_else_buy"}
        for piece in found.pieces:
            for place, _ in piece.lots:
                lot = found.shop.lots[place]
                for other, quantity in left[piece.part_number].items():
                    same = found.shop.lots[other]
                    if not older(same, lot) or not may_take(found, piece, same):
                        continue
                    compared += 1
                    assert quantity == 0, f"seed {seed}: {same} is left, {lot} serves {piece}"
                    later = [
                        holder for holder in found.of_item(piece.part_number, piece.wear)
                        if serving_order(holder) > serving_order(piece) and other in dict(holder.lots)
                    ]  # fmt: skip
                    assert not later or piece.way in choice, f"seed {seed}: {later} has {same}"
    assert compared > 50
