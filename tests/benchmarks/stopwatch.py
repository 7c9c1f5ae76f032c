"""Clocks: a function timed over several rounds, the phases of the plan, and the memory that it takes."""

import functools
import gc
import importlib
import inspect
import statistics
import time
from collections import defaultdict
from contextlib import contextmanager
from dataclasses import dataclass, field, is_dataclass
from pathlib import Path

PHASES = ("requirements", "wear", "matching", "buying", "arrivals", "answers", "between")
CALLERS = ("bom.plan", "bom.demand.requirements", "bom.supply.netting")
"""The modules that call the phases, whose calls are timed."""
PHASE_OF_MODULE = {
    "bom.demand.requirements": "requirements",
    "bom.supply.matching": "matching",
    "bom.supply.netting": "matching",
    "bom.buying.purchases": "buying",
    "bom.buying.order_size": "buying",
    "bom.status.jobs": "answers",
    "bom.status.arrivals": "arrivals",
}


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

    @property
    def median_on_wall(self):
        """Seconds on the wall, for work that another process does."""
        return statistics.median(self.wall)

    def as_row(self):
        return {
            "rounds": len(self.wall),
            "processor_seconds": round(self.median, 6),
            "processor_seconds_least": round(min(self.processor), 6),
            "wall_seconds": round(statistics.median(self.wall), 6),
        }


def time_phases(function, rounds):
    """Median processor seconds of each phase of a plan, and of what lies between them.

    What is called inside another phase counts for its own phase only.
    """
    found = defaultdict(list)
    for _ in range(rounds):
        gc.collect()
        spent = defaultdict(float)
        with _watched(spent):
            started = time.process_time()
            function()
            spent["between"] = time.process_time() - started - sum(spent.values())
        for phase in PHASES:
            found[phase].append(spent[phase])
    return {phase: round(statistics.median(found[phase]), 6) for phase in PHASES}


@contextmanager
def _watched(spent):
    running = []
    kept = [(owner, name, getattr(owner, name), phase) for owner, name, phase in _find_phases()]
    for owner, name, original, phase in kept:
        setattr(owner, name, _timed(original, phase, spent, running))
    try:
        yield
    finally:
        for owner, name, original, _ in kept:
            setattr(owner, name, original)


def _find_phases():
    """Every function, and every method of a class that is no mere record, that the callers take from another module."""
    for caller in CALLERS:
        module = importlib.import_module(caller)
        for name, member in vars(module).items():
            source = getattr(member, "__module__", None)
            phase = "wear" if _is_wear(source) else PHASE_OF_MODULE.get(source)
            if source == caller or phase is None or (phase != "wear" and caller != "bom.plan"):
                continue
            if inspect.isfunction(member):
                yield module, name, phase
            elif inspect.isclass(member) and not is_dataclass(member):
                methods = [key for key, value in vars(member).items() if inspect.isfunction(value)]
                yield from ((member, key, phase) for key in methods if key == "__init__" or not key.startswith("_"))


def _is_wear(source):
    return str(source).startswith("bom.wear.planned")


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


def resident_mb(name):
    """``VmRSS``, the memory that this process holds, or ``VmHWM``, the most it has held; None where nobody says."""
    facts = Path("/proc/self/status")
    lines = facts.read_text().splitlines() if facts.exists() else []
    return next((round(int(line.split()[1]) / 1024, 1) for line in lines if line.startswith(f"{name}:")), None)
