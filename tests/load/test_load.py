"""Several clerks at one shelf at once, on both databases, and clerks who are killed in the middle of it."""

import os
import random
import signal
import time

import pytest
from django.db import connections

from kits.stock.models import Posting
from tests.load.clerks import read_journals
from tests.load.shelf import hold_the_ledger, lay_out_shelf, start_clerk, tell, wait_for_work, work_at_once

SECONDS = float(os.environ.get("LOAD_SECONDS", "4"))
KILLS = int(os.environ.get("LOAD_KILLS", "25"))

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.mark.postgres
def test_eight_clerks_at_once_lose_and_double_nothing(tmp_path):
    lay_out_shelf()
    done = work_at_once(8, SECONDS, tmp_path)
    assert done["done"] > 24


def test_two_processes_never_see_a_locked_database(tmp_path):
    lay_out_shelf()
    done = work_at_once(2, SECONDS, tmp_path)
    assert done["done"] > 6


def test_a_killed_clerk_leaves_nothing_half_done(tmp_path):
    lay_out_shelf()
    dice = random.Random(7)
    in_the_middle = []
    for seed in range(KILLS):
        clerk = start_clerk(0, tmp_path, 30, seed)
        wait_for_work(tmp_path / f"0-{seed}.jsonl", lines=dice.choice((1, 1, 3, 5)))
        time.sleep(dice.uniform(0, 0.15))
        os.kill(clerk.pid, signal.SIGKILL)
        clerk.join()
        assert clerk.exitcode == -signal.SIGKILL
        lines = read_journals(tmp_path, f"0-{seed}.jsonl")
        in_the_middle += [str(lines[-1]["key"])] if lines[-1]["word"] == "try" else []
    connections.close_all()
    lines = read_journals(tmp_path)
    assert not [line["says"] for line in lines if line["word"] == "error"]
    hold_the_ledger(lines)
    posted = {":".join(key.split(":")[:2]) for key in Posting.objects.values_list("key", flat=True)}
    stand = len(posted & set(in_the_middle))
    title = f"{KILLS} killed, {len(in_the_middle)} between asking and hearing what came of it, of which {stand} stand"
    tell(lines, title)
    assert len(in_the_middle) > KILLS / 3
