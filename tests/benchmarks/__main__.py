"""Measure the plan of an invented shop and the explosion against their peers, and print tables and JSON.

    python -m tests.benchmarks                         everything, some minutes
    python -m tests.benchmarks --size small quarter    shops of these sizes only
    python -m tests.benchmarks --profile               where the time of the plan goes, function by function

Every ratio compares medians of processor time that were measured in turn, round by round, after one round to warm up
(PostgreSQL by the clock on the wall). Each shop is measured in a process of its own, so that its peak of memory is its
own. Nothing of this says much about another machine, or about a shop of another shape: ``synthetic_lists.py`` and
``synthetic_shop.py`` say how this one is drawn.
"""

import argparse
import cProfile
import json
import multiprocessing
import os
import platform
import pstats
import sqlite3
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from pathlib import Path

import numpy
import scipy

from bom.plan import plan
from bom.structure.arrays import compile_structure
from tests.benchmarks.measure import measure_deep, measure_shop, measure_structure, measure_wear
from tests.benchmarks.private_server import private_server, why_not
from tests.benchmarks.report import aims_of, print_report
from tests.benchmarks.synthetic_lists import SIZES
from tests.benchmarks.synthetic_shop import make_shop, with_work_in_hand

SHOPS = ("small", "quarter", "full", "large")


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


def alone(function, *arguments):
    """Call a function in a new process that ends with it."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        return pool.submit(function, *arguments).result()


def measure(sizes, seed, rounds):
    """Everything that the report shows."""
    reason = why_not()
    with nullcontext(None) if reason else private_server() as address:
        shops = [alone(measure_shop, size, seed, rounds, address) for size in sizes]
        figures = {
            "machine": describe_machine(),
            "shops": shops,
            "tiny": alone(measure_structure, "tiny", seed, rounds, address),
            "deep": alone(measure_deep, rounds, address),
            "wear": alone(measure_wear, rounds),
            "left_out": {name: why for shop in shops for name, why in shop["left_out"].items()},
        }
    if reason:
        figures["left_out"]["PostgreSQL, recursive query"] = reason
    return figures | {"aims": aims_of(figures)}


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
    parser.add_argument("--size", nargs="+", choices=SHOPS, default=SHOPS, help="shops to measure (default: all)")
    parser.add_argument("--rounds", type=int, default=5, help="measured rounds after the first (default: 5)")
    parser.add_argument("--seed", type=int, default=7, help="what the shop is drawn from (default: 7)")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the JSON there instead of printing it")
    parser.add_argument("--profile", action="store_true", help="profile the plan of the full size instead")
    chosen = parser.parse_args()
    if chosen.profile:
        profile("full", chosen.seed, 45)
        return
    figures = measure(chosen.size, chosen.seed, chosen.rounds)
    print_report(figures)
    text = json.dumps(figures, indent=2)
    if chosen.json:
        chosen.json.write_text(text + "\n", encoding="utf-8")
    else:
        print(f"\n{text}")


if __name__ == "__main__":
    main()
