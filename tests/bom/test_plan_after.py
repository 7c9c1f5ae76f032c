"""A plan made after another one, of which it keeps what has not changed, is the plan that is made from nothing."""

import random
from dataclasses import fields, replace
from datetime import timedelta
from functools import cache

import numpy as np
import pytest

from bom.answers.rows import as_json
from bom.plan import plan
from bom.values import ONE, Issue
from tests.bom.results import plan_of
from tests.demo_shop import demo_shop
from tests.shops import random_shop, with_bags


def less_of_a_lot(shop, rng):
    place = rng.randrange(len(shop.lots))
    lot = shop.lots[place]
    left = rng.choice((0, lot.quantity // 2 // ONE * ONE, lot.quantity + ONE))
    return replace(shop, lots=(*shop.lots[:place], replace(lot, quantity=left), *shop.lots[place + 1 :]))


def without_a_lot(shop, rng):
    place = rng.randrange(len(shop.lots))
    return replace(shop, lots=shop.lots[:place] + shop.lots[place + 1 :])


def a_lot_more(shop, rng):
    lot = rng.choice(shop.lots)
    place = rng.randrange(len(shop.lots) + 1)
    new = replace(lot, lot="NEW", last_use=rng.choice((None, shop.as_of + timedelta(9))), owner="", packet="resealed")
    return replace(shop, lots=(*shop.lots[:place], new, *shop.lots[place:]))


def a_lot_held_back(shop, rng):
    place = rng.randrange(len(shop.lots))
    lot = replace(shop.lots[place], condition=rng.choice(("quarantine", "usable")))
    return replace(shop, lots=(*shop.lots[:place], lot, *shop.lots[place + 1 :]))


def something_picked(shop, rng):
    place = rng.randrange(len(shop.lots))
    lot, job = shop.lots[place], rng.choice(shop.jobs)
    issue = Issue(job.job, lot.part_number, lot.lot, min(ONE, lot.quantity), rng.choice(("bagged", "reserved")))
    lot = replace(lot, quantity=lot.quantity - issue.quantity)
    return replace(shop, lots=(*shop.lots[:place], lot, *shop.lots[place + 1 :]), issues=(*shop.issues, issue))


def something_in_a_bag(shop, rng):
    """Nothing leaves the shelf, and some job wants less of it."""
    lot = rng.choice(shop.lots)
    bags = (Issue(job.job, lot.part_number, lot.lot, ONE, "bagged") for job in shop.jobs)
    return replace(shop, issues=(*shop.issues, *bags))


def a_lot_that_dies_another_day(shop, rng):
    place = rng.randrange(len(shop.lots))
    lot = replace(shop.lots[place], last_use=shop.as_of + timedelta(rng.randint(0, 25)))
    return replace(shop, lots=(*shop.lots[:place], lot, *shop.lots[place + 1 :]))


def something_issued(shop, rng):
    lot, job = rng.choice(shop.lots), rng.choice(shop.jobs)
    return replace(shop, issues=(*shop.issues, Issue(job.job, lot.part_number, lot.lot, ONE, "issued")))


def an_order_come(shop, rng):
    return replace(shop, orders=shop.orders[1:]) if shop.orders else shop


def an_order_moved(shop, rng):
    if not shop.orders:
        return shop
    line = replace(shop.orders[-1], promised=shop.as_of + timedelta(rng.randint(-5, 60)))
    return replace(shop, orders=(*shop.orders[:-1], line))


def a_job_moved(shop, rng):
    job = replace(shop.jobs[0], build_on=shop.jobs[0].build_on + timedelta(7))
    return replace(shop, jobs=(job, *shop.jobs[1:]))


def a_job_more_urgent(shop, rng):
    place = rng.randrange(len(shop.jobs))
    job = replace(shop.jobs[place], priority=rng.randint(1, 9))
    return replace(shop, jobs=(*shop.jobs[:place], job, *shop.jobs[place + 1 :]))


def a_job_given_up(shop, rng):
    place = rng.randrange(len(shop.jobs))
    job = replace(shop.jobs[place], stage="cancelled")
    return replace(shop, jobs=(*shop.jobs[:place], job, *shop.jobs[place + 1 :]))


def a_pump_more(shop, rng):
    place = rng.randrange(len(shop.jobs))
    job = replace(shop.jobs[place], quantity=shop.jobs[place].quantity + 1)
    return replace(shop, jobs=(*shop.jobs[:place], job, *shop.jobs[place + 1 :]))


def a_report_unsaid(shop, rng):
    """Rates that were learned change, and positions are open again."""
    return replace(shop, verdicts=shop.verdicts[1:])


def the_next_day(shop, rng):
    return replace(shop, as_of=shop.as_of + timedelta(1))


def another_staging(shop, rng):
    return replace(shop, staging_days=shop.staging_days + 1)


def one_more_holiday(shop, rng):
    return replace(shop, holidays=(*shop.holidays, shop.as_of + timedelta(rng.randint(2, 20))))


CHANGES = (
    less_of_a_lot, without_a_lot, a_lot_more, a_lot_held_back, something_picked, something_in_a_bag,
    a_lot_that_dies_another_day, something_issued, an_order_come,
    an_order_moved, a_job_moved, a_job_more_urgent, a_job_given_up, a_pump_more, a_report_unsaid,
    the_next_day, another_staging, one_more_holiday,
)  # fmt: skip


def the_same(found, made):
    """What two plans of one shop say, down to every draw."""
    assert as_json(found) == as_json(made)
    for of_found, of_made in ((found.netting.pieces, made.netting.pieces), (found.netting.draws, made.netting.draws)):
        for column in fields(of_made):
            assert np.array_equal(getattr(of_found, column.name), getattr(of_made, column.name)), column.name
    for name in ("left", "on_hand", "lot_place", "order_place"):
        assert np.array_equal(getattr(found.supplies, name), getattr(made.supplies, name)), name
    assert found.supplies.set_aside == made.supplies.set_aside
    assert found.buy == made.buy
    assert found.answers == made.answers


@cache
def first_plan(seed):
    return plan(with_bags(random_shop(seed), seed)) if seed % 2 else plan_of(seed)


@pytest.mark.parametrize("change", CHANGES, ids=lambda change: change.__name__)
def test_one_change_after_another(change):
    for seed in range(10):
        rng = random.Random(seed)
        last = first_plan(seed)
        shop, structure = last.shop, last.demand.structure
        for _ in range(3):
            shop = change(shop, rng)
            made = plan(shop, structure)
            last = plan(shop, after=last)
            the_same(last, made)


def test_all_kinds_of_change_in_turn():
    for seed in range(6):
        rng = random.Random(100 + seed)
        shop = random_shop(seed, "medium")
        last = plan(shop)
        for change in rng.choices(CHANGES, k=8):
            shop = change(shop, rng)
            last = plan(shop, after=last)
        the_same(last, plan(shop))


def test_what_jobs_ask_for_is_kept_while_only_the_shelf_changes():
    shop = demo_shop()
    before = plan(shop)
    after = plan(less_of_a_lot(shop, random.Random(1)), after=before)
    assert after.demand is before.demand
    assert after.netting.covers is before.netting.covers


def test_the_wear_of_other_parts_and_the_shelf_are_kept_when_a_job_changes():
    shop = demo_shop()
    before = plan(shop)
    after = plan(a_job_moved(shop, None), after=before)
    assert after.demand.structure is before.demand.structure
    assert after.netting.shelf.left is before.netting.shelf.left
    kept = {item for item, cover in after.netting.covers.items() if cover is before.netting.covers.get(item)}
    changed = after.netting.covers.keys() - kept
    first = next(n for n, asker in enumerate(after.demand.askers) if asker.name == shop.jobs[0].job)
    assert kept
    assert changed <= after.demand.wear.items_of([first])


def test_a_plan_is_not_changed_by_one_that_is_made_after_it():
    shop = random_shop(3, "medium")
    before = plan(shop)
    told = as_json(before)
    for change in CHANGES:
        plan(change(shop, random.Random(2)), after=before)
    assert as_json(before) == told
    the_same(before, plan(shop))


def test_the_first_lots_of_an_empty_shelf_and_the_last_ones_gone():
    for seed in range(6):
        shop = random_shop(seed)
        empty = replace(shop, lots=(), orders=())
        one = replace(empty, lots=shop.lots[:1])
        plans = {number: plan(some) for number, some in enumerate((shop, empty, one))}
        the_same(plan(shop, after=plans[1]), plans[0])
        the_same(plan(empty, after=plans[0]), plans[1])
        the_same(plan(one, after=plans[1]), plans[2])


def test_a_plan_after_one_of_lists_that_were_compiled_anew_is_the_plan_from_nothing():
    """Equal lists, compiled twice, are two structures: nothing of the one counts for the other, and nothing breaks."""
    shop = demo_shop()
    before = plan(shop)
    again = replace(shop, catalog=replace(shop.catalog))
    assert again.catalog is not shop.catalog
    assert as_json(plan(again, None, before)) == as_json(plan(again))
