"""What the benchmark lets race against the engine gives the engine's totals."""

import numpy as np
import pytest

from tests.benchmarks.explosion_peers import PEERS, Engine, count_ways
from tests.benchmarks.race import deep_shared_structure, race
from tests.benchmarks.report import aims_of, print_report

WIDE = {"levels": 4, "width": 6, "held": 3}


@pytest.mark.parametrize("peer", PEERS, ids=lambda peer: peer.name)
def test_every_peer_gives_the_totals_of_the_engine(peer):
    structure, wanted = deep_shared_structure(**WIDE)
    try:
        theirs = peer(structure, wanted)
    except ImportError as missing:
        pytest.skip(f"{missing}: it comes with the libraries for development")
    ours = Engine(structure, wanted).work()
    assert np.asarray(theirs.read(theirs.work()), float) == pytest.approx(ours)


def test_ways_down_multiply_while_lines_add_up():
    """One assembly at the top, 3 ways on from each: 1 + 3 + 9 + 27 + 81, over 4 x 6 x 3 lines."""
    structure, wanted = deep_shared_structure(**WIDE)
    assert count_ways(structure, wanted) == 121
    assert structure.parent.size == 72


def test_nothing_is_timed_when_a_peer_gives_other_totals(monkeypatch):
    monkeypatch.setattr("tests.benchmarks.race.PEERS", (_Wrong,))
    with pytest.raises(SystemExit, match="gives other totals"):
        race(*deep_shared_structure(**WIDE), 1, None, {})


def test_an_aim_that_is_missed_is_said_to_be_missed(capsys):
    row = {"processor_seconds": 0.7}
    timings = dict.fromkeys(("compile", "product", "products_by_job", "explosion", "query", "rows"), row)
    timings |= {
        "plan": row,
        "plan_with_work_in_hand": row,
        "floor": {"processor_seconds": 0.1},
        "floor_by_job": {"processor_seconds": 0.2},
    }
    raced = {"lines": 1000, "ways_down": 5, "milliseconds": {"this engine": 2.0, "a peer": 1.0}}
    raced["times_ours"] = {"a peer": 0.5}
    counts = dict.fromkeys(("items", "lines", "jobs", "pieces", "items_in_a_scope"), 10)
    shop = {"size": "small", "shop": counts, "timings": timings, "phases_of_plan": {"wear": 0.2}, "race": raced}
    shop["memory"] = {"lists_and_structure_mb": 1.5, "peak_with_plan_mb": None}
    figures = {"machine": "a machine", "left_out": {"a database": "not here"}, "shops": [shop], "tiny": raced}
    figures |= {"deep": raced, "wear": {"batch": row, "positions": row}}
    figures["aims"] = aims_of(figures)
    assert [(aim["measured"], aim["met"]) for aim in figures["aims"][:3]] == [(7.0, False), (3.5, True), (0.5, False)]
    print_report(figures)
    shown = capsys.readouterr().out
    assert "| plan at most 6 times the floor of totals by week, small | 7.00 | no |" in shown
    assert "left out: a database, not here" in shown


class _Wrong(Engine):
    name = "a peer that miscounts"

    def work(self):
        return super().work() + 10**6
