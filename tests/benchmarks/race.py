"""The explosion against every peer: totals compared first, then each timed in turn, round by round."""

from itertools import pairwise

import numpy as np

from bom.structure.arrays import compile_structure
from bom.values import ONE, Catalog, Item, Line
from tests.benchmarks.explosion_peers import PEERS, Engine, Postgres, count_ways
from tests.benchmarks.stopwatch import Clock

SHORTEST = 0.02
"""Seconds that a round lasts at least: what is quick is repeated within it."""


def race(structure, wanted, rounds, address, reasons):
    """Milliseconds of each way by its name, and how many times as long as ours each takes."""
    runners = [Engine(structure, wanted)]
    for peer in PEERS:
        try:
            runners.append(peer(structure, wanted))
        except ImportError as missing:
            reasons[peer.name] = str(missing)
    if address:
        runners.append(Postgres(structure, wanted, address))
    ours = runners[0].work().astype(float)
    for runner in runners[1:]:
        theirs = np.asarray(runner.read(runner.work()), float)
        if not np.allclose(theirs, ours, rtol=1e-9, atol=0.5):
            raise SystemExit(f"{runner.name} gives other totals than the engine: nothing is measured.")
    clocks = {runner.name: Clock() for runner in runners}
    times = {runner.name: _times(runner) for runner in runners}
    for _ in range(rounds):
        for runner in runners:
            clocks[runner.name].run(runner.work, times=times[runner.name])
    walls = {runner.name for runner in runners if hasattr(runner, "on_the_wall")}
    found = {name: clock.median_on_wall if name in walls else clock.median for name, clock in clocks.items()}
    mine = found[Engine.name]
    return {
        "lines": int(structure.parent.size),
        "ways_down": int(count_ways(structure, wanted)),
        "milliseconds": {name: round(seconds * 1e3, 4) for name, seconds in found.items()},
        "times_ours": {name: round(seconds / mine, 2) for name, seconds in found.items() if name != Engine.name},
    }


def _times(runner):
    """How often to repeat within a round; other work on the machine may stretch one try, hardly three."""
    clock = Clock()
    clock.run(runner.work, times=3)
    return max(1, min(200, int(SHORTEST / max(min(clock.wall), 1e-6))))


def deep_shared_structure(levels, width, held):
    """``width`` assemblies on each of ``levels``, each of which holds ``held`` different ones of the next level.

    There are few lines and very many ways down: ``held`` ** ``levels`` of them from each assembly at the top.
    """
    names = [[f"A{level:02d}-{place:02d}" for place in range(width)] for level in range(levels + 1)]
    items = tuple(Item(name, "assembly") for row in names for name in row)
    lines = tuple(
        Line(parent, below[(place + step) % width], (1 + (step == 0)) * ONE, "renew" if below is names[-1] else "open")
        for above, below in pairwise(names)
        for place, parent in enumerate(above)
        for step in range(held)
    )
    structure = compile_structure(Catalog(items, lines))
    wanted = np.zeros(len(items), np.int64)
    wanted[structure.index[names[0][0]]] = ONE
    return structure, wanted
