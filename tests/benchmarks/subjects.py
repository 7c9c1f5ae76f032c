"""What is measured: the plan, and the explosion of all jobs alone."""

from collections import Counter
from dataclasses import replace
from fractions import Fraction

import numpy as np

from bom.demand.chances import Chance, JobWear, WearTable
from bom.demand.explosion import explode
from bom.demand.recipes import conditions_of, group_recipes
from bom.structure.arrays import INSPECT, RENEW
from bom.values import ONE, Issue
from tests.benchmarks.peers import WEEKS, opened_sections


def explode_all(structure, jobs):
    """What all jobs renew and inspect: millionths by item, an array for each."""
    recipes, of_job = group_recipes(structure, jobs, frozenset())
    names = [[] for _ in recipes]
    for job, recipe in zip(jobs, of_job.tolist(), strict=True):
        names[recipe].append(job.job)
    explosion, needs = explode(structure, conditions_of(structure, recipes), recipes, names)
    times = np.bincount(of_job, minlength=len(recipes))
    renewed = np.zeros(len(structure.items), np.int64)
    np.add.at(renewed, needs.item, needs.quantity * times[needs.recipe])
    looks = explosion.looks
    inspected = np.zeros(len(structure.items), np.int64)
    looked_at = looks.count * structure.quantity[looks.line] * times[looks.recipe]
    np.add.at(inspected, structure.child[looks.line], looked_at)
    return renewed, inspected


def one_line_picked(shop):
    """The shop after one pick line was posted: a piece of a lot lies in the bag of a job that asks for it."""
    job = shop.jobs[0]
    pumps = {row.section for row in shop.catalog.scopes if (row.pump, row.scope) == (job.pump, job.scope)}
    parts = {line.child for line in shop.catalog.lines if line.parent in pumps and line.at_rebuild == "renew"}
    place = next(n for n, lot in enumerate(shop.lots) if lot.part_number in parts and lot.quantity >= 2 * ONE)
    lot = shop.lots[place]
    less = replace(lot, quantity=lot.quantity - ONE)
    lots = (*shop.lots[:place], less, *shop.lots[place + 1 :])
    return replace(shop, lots=lots, issues=(*shop.issues, Issue(job.job, lot.part_number, lot.lot, ONE, "bagged")))


def wanted_of(structure, jobs):
    """Millionths of each item that the scopes of all jobs open."""
    wanted = np.zeros(len(structure.items), np.int64)
    for item, count in opened_sections(structure, jobs):
        wanted[item] += count * ONE
    return wanted


def wanted_by_week(structure, jobs):
    """The same with a column for each week of the year, by the day on which each job is built."""
    first = min(job.build_on for job in jobs)
    wanted = np.zeros((len(structure.items), WEEKS), np.int64)
    for job in jobs:
        week = min((job.build_on - first).days // 7, WEEKS - 1)
        for item, count in opened_sections(structure, [job]):
            wanted[item, week] += count * ONE
    return wanted


def wear_batch(items, days, positions):
    """What may be found worn of so many items: a job on each day, its positions at two chances."""
    chances = [Fraction(percent, 100) for percent in (2, 5, 10, 20, 35, 50)]
    return WearTable.of(
        {
            item: [
                JobWear(day, day, (Chance(item, 1, chances[item % 6], positions), Chance(item, 1, chances[day % 6], 1)))
                for day in range(days)
            ]
            for item in range(items)
        }
    )


def by_item_and_action(renewed, inspected):
    """The same totals as the recursive query gives them."""
    return Counter(
        {
            (item, action): int(total[item])
            for action, total in ((RENEW, renewed), (INSPECT, inspected))
            for item in np.flatnonzero(total).tolist()
        }
    )


def describe(shop, structure, plan):
    """Figures by which a reader can judge what was planned."""
    explosion = plan.demand.explosion
    width = len(structure.items)
    needed = plan.demand.renewed.recipe * width + plan.demand.renewed.item
    looked = explosion.looks.recipe * width + structure.child[explosion.looks.line]
    asked = np.union1d(needed, looked)
    lines = shop.catalog.lines
    return {
        "items": len(shop.catalog.items),
        "lines": len(lines),
        "levels": int(structure.level.max()) + 1,
        "inspected_lines_percent": _percent(line.at_rebuild == "inspect" for line in lines),
        "lines_with_options_percent": _percent(bool(line.options) for line in lines),
        "kits": len(shop.catalog.kit_fits),
        "lots": len(shop.lots),
        "order_lines": len(shop.orders),
        "jobs": len(shop.jobs),
        "recipes": len(explosion.recipes),
        "items_in_a_scope": round(asked.size / len(explosion.recipes), 1),
        "pieces": plan.netting.pieces.size,
        "jobs_by_status": dict(sorted(Counter(answer.status for answer in plan.answers).items())),
        "rows_to_buy": len(plan.buy),
    }


def _percent(marks):
    marks = list(marks)
    return round(100 * sum(marks) / len(marks), 1)
