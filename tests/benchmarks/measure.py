"""What is measured of one shop, of the deep structure and of wear; each runs in a process of its own."""

from fractions import Fraction

import numpy as np
from scipy.stats import binom

from bom.answers.rows import as_json
from bom.demand.chances import Chance, JobWear, WearTable
from bom.plan import plan
from bom.structure.arrays import compile_structure
from bom.structure.totals import total_requirements
from bom.values import ONE
from bom.wear.planned import cover_items
from tests.benchmarks.explosion_peers import TriangularSolve
from tests.benchmarks.peers import WITH_CONDITIONS, Product, ProductsByJob, SolveByJob
from tests.benchmarks.race import deep_shared_structure, race
from tests.benchmarks.report import SAYS
from tests.benchmarks.stopwatch import Clock, resident_mb, time_phases
from tests.benchmarks.subjects import (
    by_item_and_action,
    describe,
    explode_all,
    one_line_picked,
    wanted_by_week,
    wanted_of,
    wear_batch,
)
from tests.benchmarks.synthetic_lists import SIZES
from tests.benchmarks.synthetic_shop import make_shop, with_work_in_hand

PRODUCTS_IN_A_ROUND = 20
DEEP = {"levels": 12, "width": 30, "held": 3}


def measure_shop(size, seed, rounds, address):
    """All figures of a shop of one size."""
    shop = make_shop(SIZES[size], seed)
    compiled = Clock()
    compiled.run(lambda: compile_structure(shop.catalog))
    structure = compile_structure(shop.catalog)
    memory = {"lists_and_structure_mb": resident_mb("VmRSS")}
    done = plan(shop, structure)
    memory["peak_with_plan_mb"] = resident_mb("VmHWM")
    busy = with_work_in_hand(shop, seed)
    plan(busy, structure)
    floor = TriangularSolve(structure, wanted_by_week(structure, shop.jobs))
    product, by_job = Product(structure, seed), ProductsByJob(structure, shop.jobs)
    reasons = {}
    peers = list(_ready_peers(structure, shop.jobs, reasons))
    wanted = wanted_of(structure, shop.jobs)
    _compare(structure, shop, peers, floor, wanted)
    floor_by_job = SolveByJob(structure, shop.jobs)
    by_job_once = Clock()
    by_job_once.run(lambda: _same_totals(floor_by_job.work(), total_requirements(structure, wanted)))
    clocks = {name: Clock() for name in ("product", "floor", "products_by_job", "explosion")}
    clocks |= {peer.name: Clock() for peer in peers}
    clocks |= {name: Clock() for name in ("plan", "plan_after_a_pick", "plan_with_work_in_hand", "rows")}
    picked = one_line_picked(shop)
    for _ in range(rounds):
        clocks["product"].run(product.multiply, times=PRODUCTS_IN_A_ROUND)
        clocks["floor"].run(floor.work)
        clocks["products_by_job"].run(by_job.multiply)
        clocks["plan"].run(lambda: plan(shop, structure))
        clocks["explosion"].run(lambda: explode_all(structure, shop.jobs))
        for peer in peers:
            clocks[peer.name].run(peer.totals)
        clocks["plan_after_a_pick"].run(lambda: plan(picked, structure, done))
        clocks["plan_with_work_in_hand"].run(lambda: plan(busy, structure))
        clocks["rows"].run(lambda: as_json(done))
    return {
        "size": size,
        "seed": seed,
        "shop": describe(shop, structure, done),
        "timings": {"compile": compiled.as_row(), "floor_by_job": by_job_once.as_row()}
        | {name: clock.as_row() for name, clock in clocks.items()},
        "phases_of_plan": time_phases(lambda: plan(shop, structure), rounds),
        "memory": memory,
        "race": race(structure, wanted, rounds, address, reasons),
        "left_out": reasons,
    }


def _ready_peers(structure, jobs, reasons):
    """Every peer whose library is there; the reasons why others are left out."""
    for peer in WITH_CONDITIONS:
        try:
            yield peer(structure, jobs)
        except ImportError as missing:
            reasons[SAYS[peer.name]] = str(missing)


def _compare(structure, shop, peers, floor, wanted):
    """Nothing is timed before all agree."""
    exploded = by_item_and_action(*explode_all(structure, shop.jobs))
    for peer in peers:
        if exploded != peer.totals():
            raise SystemExit(f"The explosion and {SAYS[peer.name]} give different totals: nothing is measured.")
    _same_totals(floor.read(floor.work()).sum(axis=1), total_requirements(structure, wanted))


def _same_totals(solved, exploded):
    if not np.allclose(solved, exploded, rtol=1e-9, atol=0.5):
        raise SystemExit("The explosion and the triangular solve give different totals: nothing is measured.")


def measure_structure(size, seed, rounds, address):
    """Only the race of the bare explosion, for a shop too small to say anything about a plan."""
    shop = make_shop(SIZES[size], seed)
    structure, reasons = compile_structure(shop.catalog), {}
    return race(structure, wanted_of(structure, shop.jobs), rounds, address, reasons)


def measure_deep(rounds, address):
    """The race on few lines with very many ways down."""
    return race(*deep_shared_structure(**DEEP), rounds, address, {})


def measure_wear(rounds):
    """A batch of many items, and one item with very many positions and dates, checked against SciPy."""
    batch = wear_batch(items=500, days=60, positions=9)
    one = {0: [JobWear(day, day, (Chance(0, 1, Fraction(35, 100), 25),)) for day in range(200)]}
    alone = WearTable.of(one)
    found = np.cumsum(cover_items(alone, {0: 90.0}, {0: True})[0].planned) // ONE
    if found.tolist() != binom.ppf(0.9, np.arange(1, 201) * 25, 0.35).astype(int).tolist():
        raise SystemExit("The cover of 5 000 positions is not that of the binomial distribution.")
    clocks = {"batch": Clock(), "positions": Clock()}
    everything = range(500)
    for _ in range(rounds):
        clocks["batch"].run(
            lambda: cover_items(batch, dict.fromkeys(everything, 90.0), dict.fromkeys(everything, True))
        )
        clocks["positions"].run(lambda: cover_items(alone, {0: 90.0}, {0: True}))
    return {name: clock.as_row() for name, clock in clocks.items()}
