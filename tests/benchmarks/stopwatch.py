"""Clocks: a function timed over several rounds, the phases of the plan, and the memory that it takes."""

import functools
import gc
import importlib
import statistics
import time
import tracemalloc
from collections import defaultdict
from contextlib import contextmanager
from dataclasses import dataclass, field

PHASES = (
    ("requirements", "bom.plan", "gather_demand"),
    ("wear", "bom.requirements", "_wear_by_item"),
    ("wear", "bom.netting", "cover_items"),
    ("matching", "bom.plan", "gather_supplies"),
    ("matching", "bom.plan", "net"),
    ("buying", "bom.plan", "OfferBook"),
    ("buying", "bom.plan", "uncovered_by_item"),
    ("buying", "bom.buying", "Purchasing.__init__"),
    ("buying", "bom.buying", "Purchasing.rows"),
    ("arrivals", "bom.plan", "arrivals"),
    ("answers", "bom.plan", "job_answers"),
)
"""Which function belongs to which phase; what is called inside another phase counts for its own only."""


@dataclass
class Clock:
    """Seconds of each round, on the wall and of the processor."""

    wall: list[float] = field(default_factory=list)
    processor: list[float] = field(default_factory=list)

    def run(self, function, times=1):
        """Call a function so many times in a row, each a round of its own; what was left lying is cleared before."""
        gc.collect()
        for _ in range(times):
            wall, processor = time.perf_counter(), time.process_time()
            function()
            self.processor.append(time.process_time() - processor)
            self.wall.append(time.perf_counter() - wall)

    @property
    def median(self):
        """Processor seconds: other work on the machine does not stretch them."""
        return statistics.median(self.processor)

    def as_row(self):
        return {
            "rounds": len(self.wall),
            "processor_seconds": round(self.median, 6),
            "processor_seconds_least": round(min(self.processor), 6),
            "wall_seconds": round(statistics.median(self.wall), 6),
        }


def time_phases(function, rounds):
    """Median processor seconds of each phase of a plan, and of what lies between them."""
    found = defaultdict(list)
    for _ in range(rounds):
        gc.collect()
        spent = defaultdict(float)
        with _watched(spent):
            started = time.process_time()
            function()
            spent["between"] = time.process_time() - started - sum(spent.values())
        for phase, seconds in spent.items():
            found[phase].append(seconds)
    order = [*dict.fromkeys(phase for phase, _, _ in PHASES), "between"]
    return {phase: round(statistics.median(found[phase]), 6) for phase in order}


@contextmanager
def _watched(spent):
    running = []
    places = [(phase, *_find(module, name)) for phase, module, name in PHASES]
    kept = [(owner, last, getattr(owner, last)) for _, owner, last in places]
    for phase, owner, last in places:
        setattr(owner, last, _timed(getattr(owner, last), phase, spent, running))
    try:
        yield
    finally:
        for owner, last, original in kept:
            setattr(owner, last, original)


def _find(module, name):
    owner = importlib.import_module(module)
    *way, last = name.split(".")
    for step in way:
        owner = getattr(owner, step)
    if not hasattr(owner, last):
        raise SystemExit(f"{module} has no {name} any more: name the phases of the plan anew in {__name__}.PHASES.")
    return owner, last


def _timed(function, phase, spent, running):
    @functools.wraps(function, updated=())
    def timed(*arguments, **named):
        running.append(0.0)
        started = time.process_time()
        try:
            return function(*arguments, **named)
        finally:
            seconds = time.process_time() - started
            spent[phase] += seconds - running.pop()
            if running:
                running[-1] += seconds

    return timed


def peak_memory(function):
    """The most memory in MB that a call holds beyond what was held before."""
    gc.collect()
    tracemalloc.start()
    try:
        function()
        return round(tracemalloc.get_traced_memory()[1] / 1e6, 1)
    finally:
        tracemalloc.stop()
