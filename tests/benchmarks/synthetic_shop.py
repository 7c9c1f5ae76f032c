"""The rest of the invented shop: jobs, lots, orders, and on request what has been found and issued.

Jobs are spread evenly over the working days; a tenth of the pumps bring more than half of them (the
density of rank r falls as r ** -0.75). Half of
the jobs name a serial, a third ask for the other compound, one in ten for oxygen service; 85 in 100 are one pump.

A part lies on the shelf for two to ten months of what the jobs of the year ask for, spread over one to four lots, and
one part in 200 not at all. The first lot of a part is sound; of the others one in 25 is in quarantine and one in 50
belongs to a customer. Lots of parts with limited life have up to ten years left, a few are past it. A third of the
parts are on order, some lines overdue.
"""

import math
from collections import Counter
from dataclasses import replace
from datetime import timedelta

import numpy as np

from bom.demand.positions import positions_of
from bom.demand.recipes import conditions_of, recipe_of
from bom.structure.arrays import RENEW, compile_structure
from bom.structure.calendar import ShopCalendar
from bom.values import ONE, Issue, Job, Lot, OrderLine, Shop, Verdict
from tests.benchmarks.synthetic_catalog import AS_OF, SCOPES, CatalogMaker, usage_in_scope

PUMP_SKEW = 4.0
CUSTOMERS = tuple(f"Customer {number}" for number in range(1, 41))
STAGES = {5: "building", 10: "stripped", 20: "here"}
"""The stage of a job that is to be built within so many working days."""


def make_shop(size, seed):
    """Draw a whole shop; the same size and seed always give the same one."""
    rng = np.random.default_rng(seed)
    maker = CatalogMaker(size, rng)
    catalog = maker.make_catalog()
    shop = Shop(AS_OF, catalog, jobs=make_jobs(maker, rng))
    opened, renewed = usage_in_scope(catalog, _opened_by_jobs(shop, maker))
    usage = np.where(renewed > 0, renewed, 0.0)
    index = {name: number for number, name in enumerate(maker.names)}
    for fit in catalog.kit_fits:
        usage[index[fit.kit]] = opened[index[fit.fits]] / fit.instances * (0.5 if fit.options else 1.0)
    return replace(shop, lots=make_lots(catalog.items, usage, rng), orders=make_orders(catalog.items, usage, rng))


def make_jobs(maker, rng):
    size, calendar = maker.size, ShopCalendar()
    pumps = [maker.names[pump] for pump in maker.sections]
    rng.shuffle(pumps)
    scopes = tuple(SCOPES)
    jobs = []
    for number in range(size.jobs):
        after = 1 + number * size.days // size.jobs
        build_on = calendar.forward(AS_OF, after)
        family = int(rng.integers(maker.numbers.families))
        options = [("compound", "fkm")] if rng.random() < 0.35 else []
        options += [("service", "oxygen")] if rng.random() < 0.1 else []
        jobs.append(
            Job(
                job=f"R-{number:06d}",
                pump=pumps[int(len(pumps) * rng.random() ** PUMP_SKEW)],
                scope=scopes[int(rng.choice(3, p=(0.5, 0.4, 0.1)))],
                build_on=build_on,
                quantity=int(rng.choice((1, 2, 4), p=(0.85, 0.1, 0.05))),
                batch=f"{build_on:%G-W%V}",
                priority=int(rng.choice((1, 5, 9), p=(0.1, 0.8, 0.1))),
                options=tuple(options),
                serial=f"F{family}-{int(rng.integers(1, 1000)):03d}" if rng.random() < 0.5 else "",
                customer=CUSTOMERS[int(rng.integers(len(CUSTOMERS)))],
                strip_on=calendar.back(build_on, 5),
                stage=next((stage for days, stage in STAGES.items() if after <= days), "expected"),
            )
        )
    return tuple(jobs)


def _opened_by_jobs(shop, maker):
    index = {name: number for number, name in enumerate(maker.names)}
    times = Counter()
    for job in shop.jobs:
        for section, how_many in maker.sections[index[job.pump]]:
            times[section] += how_many * job.quantity
    opened = np.zeros(len(index))
    opened[list(times)] = list(times.values())
    return opened


def make_lots(items, usage, rng):
    lots = []
    for number in np.flatnonzero(usage > 0).tolist():
        item = items[number]
        count = int(rng.choice((0, 1, 2, 3, 4), p=(0.005, 0.495, 0.3, 0.12, 0.08)))
        for lot in range(count):
            quantity = math.ceil(usage[number] * (0.15 + rng.gamma(2.0, 0.17)) / count) * ONE
            if quantity:
                left = timedelta(int(rng.integers(-60 if lot else 10, 3650)))
                lots.append(
                    Lot(
                        part_number=item.part_number,
                        lot=f"L{number}-{lot}",
                        quantity=quantity,
                        place=f"Bin {number % 997}",
                        condition="quarantine" if lot and rng.random() < 0.04 else "usable",
                        packet="resealed" if rng.random() < 0.05 else "sealed",
                        last_use=AS_OF + left if item.limited_life else None,
                        received=AS_OF - timedelta(int(rng.integers(1, 900))),
                        owner=CUSTOMERS[int(rng.integers(len(CUSTOMERS)))] if lot and rng.random() < 0.02 else "",
                    )
                )
    return tuple(lots)


def make_orders(items, usage, rng):
    orders = []
    for number in np.flatnonzero(usage > 0).tolist():
        for line in range(int(rng.choice((0, 1, 2), p=(0.67, 0.25, 0.08)))):
            quantity = round(usage[number] * rng.gamma(2.0, 0.12)) * ONE
            if quantity:
                promised = AS_OF + timedelta(int(rng.integers(-10, 120)))
                order = f"PO {int(rng.integers(1, 2000)):04d}"
                orders.append(OrderLine(order, f"{number}.{line}", items[number].part_number, quantity, promised))
    return tuple(orders)


def with_work_in_hand(shop, seed):
    """The same shop with strip reports for the jobs that are stripped, and pieces issued to those being built."""
    rng = np.random.default_rng(seed + 1)
    structure = compile_structure(shop.catalog)
    lots = {lot.part_number: lot.lot for lot in shop.lots}
    verdicts, issues = [], []
    for job in shop.jobs:
        recipe = recipe_of(structure, job)
        conditions = conditions_of(structure, [recipe])
        if job.stage == "stripped":
            for place in positions_of(structure, conditions, 0, recipe, frozenset()):
                part = structure.lines[place.line].child
                verdict = "renew" if rng.random() < 0.2 else "keep"
                verdicts.append(Verdict(job.job, place.where, part, verdict, "worn" if verdict == "renew" else ""))
        if job.stage == "building":
            for row in structure.scopes[job.pump, job.scope]:
                for line in structure.lines_of(structure.index[row.section]):
                    part = structure.lines[line].child
                    if structure.action[line] == RENEW and conditions.meets(line, 0) and part in lots:
                        issues.append(Issue(job.job, part, lots[part], structure.lines[line].quantity, "issued"))
    return replace(shop, verdicts=tuple(verdicts), issues=tuple(issues))
