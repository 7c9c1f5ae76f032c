"""Measure the plan of an invented shop against its peers, in one run, and print a table and JSON.

    python -m tests.benchmarks                              the full size, a few minutes
    python -m tests.benchmarks --size small quarter full    how the time grows
    python -m tests.benchmarks --profile                    where the time of the plan goes, function by function

Every ratio compares medians of processor time that were measured in turn, round by round, after one round to warm up.
It says nothing about another machine, and little about a shop of another shape: ``synthetic_lists.py`` and
``synthetic_shop.py`` say how this one is drawn.
"""

import argparse
import cProfile
import json
import os
import platform
import pstats
import resource
import sqlite3
from pathlib import Path

import numpy
import scipy

from bom.answers import as_json
from bom.plan import plan
from bom.structure import compile_structure
from bom.totals import total_requirements
from tests.benchmarks.peers import PlainQuery, Product, ProductsByJob, Query
from tests.benchmarks.stopwatch import Clock, peak_memory, time_phases
from tests.benchmarks.subjects import by_item_and_action, describe, explode_all, wanted_of
from tests.benchmarks.synthetic_lists import SIZES
from tests.benchmarks.synthetic_shop import make_shop, with_work_in_hand

AIMS = {"plan_per_product": ("at most", 10), "plain_query_per_plain_explosion": ("at least", 50)}
PRODUCTS_IN_A_ROUND = 20
SAYS = {
    "compile": "structure compiled from the lists",
    "product": "SciPy: sparse matrix by 52 columns",
    "products_by_job": "SciPy: what each job renews, no conditions",
    "plain_explosion": "plain explosion, totals of what jobs open",
    "plain_query": "SQLite: recursive query, same totals",
    "explosion": "explosion of all jobs, with conditions",
    "query": "SQLite: recursive query, same conditions",
    "plan": "plan",
    "plan_with_work_in_hand": "plan, with strip reports and issues",
    "rows": "the plan as plain rows",
    "plan_per_product": "plan / product",
    "plan_with_work_in_hand_per_product": "plan with strip reports and issues / product",
    "plain_query_per_plain_explosion": "plain query / plain explosion",
    "query_per_explosion": "query / explosion, with conditions",
    "explosion_per_products_by_job": "explosion / what each job renews",
}


def measure(size, seed, rounds):
    """All figures of one size."""
    shop = make_shop(SIZES[size], seed)
    compiled = Clock()
    compiled.run(lambda: compile_structure(shop.catalog), times=2)
    structure = compile_structure(shop.catalog)
    busy = with_work_in_hand(shop, seed)
    product, query = Product(structure, seed), Query(structure, shop.jobs)
    by_job = ProductsByJob(structure, shop.jobs)
    done = plan(shop, structure)
    plan(busy, structure)
    product.multiply()
    by_job.multiply()
    if by_item_and_action(*explode_all(structure, shop.jobs)) != query.totals():
        raise SystemExit("The explosion and the recursive query give different totals: nothing is measured.")
    plain, wanted = PlainQuery(structure, shop.jobs), wanted_of(structure, shop.jobs)
    held = total_requirements(structure, wanted) - wanted
    if {item: int(held[item]) for item in held.nonzero()[0].tolist()} != plain.totals():
        raise SystemExit("The plain explosion and the plain query give different totals: nothing is measured.")
    clocks = {
        "product": Clock(),
        "products_by_job": Clock(),
        "plain_explosion": Clock(),
        "plain_query": Clock(),
        "explosion": Clock(),
        "query": Clock(),
        "plan": Clock(),
        "plan_with_work_in_hand": Clock(),
        "rows": Clock(),
    }
    for _ in range(rounds):
        clocks["product"].run(product.multiply, times=PRODUCTS_IN_A_ROUND)
        clocks["products_by_job"].run(by_job.multiply, times=3)
        clocks["plain_explosion"].run(lambda: total_requirements(structure, wanted), times=PRODUCTS_IN_A_ROUND)
        clocks["plain_query"].run(plain.totals)
        clocks["plan"].run(lambda: plan(shop, structure))
        clocks["explosion"].run(lambda: explode_all(structure, shop.jobs), times=3)
        clocks["query"].run(query.totals)
        clocks["plan_with_work_in_hand"].run(lambda: plan(busy, structure))
        clocks["rows"].run(lambda: as_json(done))
    return {
        "size": size,
        "seed": seed,
        "shop": describe(shop, structure, done),
        "ratios": {
            "plan_per_product": round(clocks["plan"].median / clocks["product"].median, 2),
            "plan_with_work_in_hand_per_product": round(
                clocks["plan_with_work_in_hand"].median / clocks["product"].median, 2
            ),
            "plain_query_per_plain_explosion": round(
                clocks["plain_query"].median / clocks["plain_explosion"].median, 2
            ),
            "query_per_explosion": round(clocks["query"].median / clocks["explosion"].median, 2),
            "explosion_per_products_by_job": round(clocks["explosion"].median / clocks["products_by_job"].median, 2),
        },
        "timings": {"compile": compiled.as_row()} | {name: clock.as_row() for name, clock in clocks.items()},
        "phases_of_plan": time_phases(lambda: plan(shop, structure), rounds),
        "phases_with_work_in_hand": time_phases(lambda: plan(busy, structure), rounds),
        "plan_peak_mb": peak_memory(lambda: plan(shop, structure)),
        "process_peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, 1),
    }


def describe_machine():
    """The machine and what runs on it, in one line."""
    facts = Path("/proc/cpuinfo")
    names = [line.split(":")[1].strip() for line in facts.read_text().splitlines() if line.startswith("model name")]
    model = names[0] if facts.exists() and names else platform.processor()
    load = ", ".join(f"{value:.1f}" for value in os.getloadavg())
    return (
        f"{model}, {os.cpu_count()} cores, load {load}; {platform.system()} {platform.machine()}, "
        f"Python {platform.python_version()}, NumPy {numpy.__version__}, SciPy {scipy.__version__}, "
        f"SQLite {sqlite3.sqlite_version}"
    )


def print_figures(figures):
    """The table of one size."""
    shop = figures["shop"]
    print(f"\n{figures['size']}: " + ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in shop.items()))
    print(f"\n{'milliseconds of processor time':<48}{'median':>10}{'least':>10}{'on the wall':>13}{'rounds':>8}")
    for name, row in figures["timings"].items():
        print(
            f"  {SAYS[name]:<46}{row['processor_seconds'] * 1e3:>10.1f}"
            f"{row['processor_seconds_least'] * 1e3:>10.1f}{row['wall_seconds'] * 1e3:>13.1f}{row['rounds']:>8}"
        )
    busy = figures["phases_with_work_in_hand"]
    print(f"\n{'phases of the plan, milliseconds':<48}{'plan':>10}{'with work in hand':>23}")
    for name, seconds in figures["phases_of_plan"].items():
        print(f"  {name:<46}{seconds * 1e3:>10.1f}{busy[name] * 1e3:>23.1f}")
    print(f"\n{'ratios':<48}{'measured':>10}   aim")
    for name, ratio in figures["ratios"].items():
        print(f"  {SAYS[name]:<46}{ratio:>10.2f}   {' '.join(map(str, AIMS.get(name, ('none',))))}")
    print(f"\npeak memory: {figures['plan_peak_mb']} MB for the plan, {figures['process_peak_mb']} MB for all of this")


def print_growth(all_figures):
    """How plan and product grow from the smallest size on."""
    first = all_figures[0]
    print(f"\n{'growth':<12}{'lines':>10}{'times':>8}{'plan takes times':>18}{'product takes times':>21}")
    for figures in all_figures:
        row = [figures["shop"]["lines"] / first["shop"]["lines"]]
        for name in ("plan", "product"):
            row.append(figures["timings"][name]["processor_seconds"] / first["timings"][name]["processor_seconds"])
        print(f"{figures['size']:<12}{figures['shop']['lines']:>10}{row[0]:>8.1f}{row[1]:>18.1f}{row[2]:>21.1f}")


def profile(size, seed, count):
    """Print the functions in which the plan spends its time."""
    shop = with_work_in_hand(make_shop(SIZES[size], seed), seed)
    structure = compile_structure(shop.catalog)
    plan(shop, structure)
    profiler = cProfile.Profile()
    profiler.runcall(plan, shop, structure)
    pstats.Stats(profiler).strip_dirs().sort_stats("tottime").print_stats(count).sort_stats("cumtime").print_stats(
        count
    )


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__.split("\n\n")[0])
    parser.add_argument("--size", nargs="+", choices=SIZES, default=["full"], help="one or more sizes (default: full)")
    parser.add_argument("--rounds", type=int, default=5, help="measured rounds after the first (default: 5)")
    parser.add_argument("--seed", type=int, default=7, help="what the shop is drawn from (default: 7)")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the JSON there instead of printing it")
    parser.add_argument("--profile", action="store_true", help="profile the plan instead of measuring it")
    chosen = parser.parse_args()
    if chosen.profile:
        profile(chosen.size[0], chosen.seed, 45)
        return
    machine = describe_machine()
    print(machine)
    measured = []
    for size in chosen.size:
        measured.append(measure(size, chosen.seed, chosen.rounds))
        print_figures(measured[-1])
    if len(measured) > 1:
        print_growth(measured)
    aims = {name: " ".join(map(str, aim)) for name, aim in AIMS.items()}
    text = json.dumps({"machine": machine, "aims": aims, "sizes": measured}, indent=2)
    if chosen.json:
        chosen.json.write_text(text + "\n", encoding="utf-8")
    else:
        print(f"\n{text}")


if __name__ == "__main__":
    main()
