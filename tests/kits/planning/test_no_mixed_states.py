"""Whoever asks while others write is never shown the figures of one state under the stamp of another.

Clerks write without pause; each state of the tables is known by how often each pump is to be rebuilt. Two processes
with one cache are asked all the while, each by two threads. Whatever they show must be wholly of the state that its
stamp names, and, unless it says that it is being renewed, of no state older than what stood when it was asked for.
"""

import random
import threading
import time
from contextlib import suppress

import pytest
from django.db import OperationalError, connection, transaction

from bom.answers.rows import as_json
from bom.reading import Reading
from bom.values import ONE
from kits.catalog.caching.revisions import mark_catalog, mark_shop, read_marks
from kits.catalog.models import StructureLine
from kits.planning.keeping import plans as keeping
from kits.planning.snapshot.shop import stamp_of
from kits.schedule.models import Job
from tests.kits.planning.shared_cache import files_in, process_with, settle
from tests.kits.planning.shop import AS_OF, fill_shop

pytestmark = pytest.mark.django_db(transaction=True)
SECONDS = 3


class Records:
    """What each state of the tables holds: its number, how many jobs' pumps, how many pieces at each position."""

    def __init__(self):
        self.states, self.newest = {}, 0

    def write(self, dice):
        """One posting, now and then a change of the lists."""
        with transaction.atomic(durable=True):
            lists = dice.random() < 0.2
            (mark_catalog if lists else mark_shop)()
            number = self.newest + 1
            if lists:
                StructureLine.objects.filter(position="ball").update(quantity=dice.randint(1, 9) * ONE)
            else:
                Job.objects.update(quantity=number)
            held = Job.objects.first().quantity, StructureLine.objects.get(position="ball").quantity // ONE
            self.states[stamp_of(read_marks())] = number, *held
        self.newest = number


def positions_of(plan):
    (row,) = (row for row in as_json(plan)["demand"] if row["part_number"] == "RING-0")
    return row["positions"]


@pytest.mark.parametrize("seed", [1, 2])
def test_no_plan_shows_the_figures_of_another_state(seed, transactional_db, tmp_path, monkeypatch):
    fill_shop(1)
    monkeypatch.setattr(keeping, "PATIENCE_SECONDS", 0.3)
    records, dice, cache = Records(), random.Random(seed), files_in(tmp_path)
    records.write(dice)
    wrong, seen, over = [], [], threading.Event()

    def look(process, dice):
        while not over.is_set():
            before = records.newest
            with suppress(OperationalError):  # two who upgrade at once on the embedded database
                if dice.random() < 0.5:
                    plan, renewed = process.now(AS_OF, None), None
                else:
                    plan, renewed = process.to_read(AS_OF)
                number, pumps, pieces = records.states[plan.shop.stamp]
                reading = process.answer(plan, "reading", lambda plan=plan: Reading(plan))
                seen.append(renewed is None)
                if positions_of(plan) != pumps * pieces or reading.plan is not plan:
                    wrong.append(f"state {number}: {positions_of(plan)} positions, not {pumps} x {pieces}")
                if renewed is None and number < before:
                    wrong.append(f"state {number} was shown as that of now, which is {before}")
        connection.close()

    processes = [process_with(cache), process_with(cache)]
    for process in processes:
        process.now(AS_OF, None)
    readers = [
        threading.Thread(target=look, args=(process, random.Random(f"{seed}-{number}")))
        for number, process in enumerate(processes * 2)
    ]
    for reader in readers:
        reader.start()
    ends = time.monotonic() + SECONDS
    while time.monotonic() < ends:
        records.write(dice)
        for process in processes:  # as if each plan took long
            process._last.took = 9
        time.sleep(dice.uniform(0, 0.1))
    over.set()
    for reader in readers:
        reader.join(30)
    settle()
    assert wrong == []
    assert set(seen) == {True, False}, "plans of now were shown, and plans that were being renewed"
    assert len(records.states) > 5
