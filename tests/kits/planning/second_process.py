"""Another process of the same shop: it reads one word a line, does it, and answers with one line of JSON.

``plan`` answers what the plan asks for, ``change 6`` writes the structure line and commits, ``begin 6`` writes it and
leaves the transaction open, ``commit`` and ``roll_back`` end it. ``planned`` answers how many plans this process worked
out, ``settle`` waits until the last one lies in the cache. ``begin_anew`` counts from nothing and ends what is open.
"""

import json
import os
import subprocess
import sys
from contextlib import contextmanager
from urllib.parse import quote

import django
from django.db import connection, transaction

from bom.values import ONE
from tests.kits.planning.shared_cache import settle


def answer_of_plan():
    """Return how many balls are looked at, and how often structure was compiled in this process until now."""
    from bom.answers.rows import as_json
    from kits.planning.queries import plan_now
    from tests.kits.planning.shop import AS_OF

    (row,) = (row for row in as_json(plan_now(AS_OF))["demand"] if row["part_number"] == "RING-0")
    return {"positions": row["positions"], "compiled": compiled[0]}


def write_line(quantity):
    """Write the structure line as every write to the catalog does: marked first, inside a transaction."""
    from kits.catalog.caching.revisions import mark_catalog
    from kits.catalog.models import StructureLine

    mark_catalog()
    StructureLine.objects.filter(parent__part_number="PUMP-0").update(quantity=quantity * ONE)


compiled = [0]


def count_compilations():
    """Count from now on how often this process compiles the structure."""
    from bom.reading import lists

    plain = lists.compile_structure

    def counting(catalog):
        compiled[0] += 1
        return plain(catalog)

    lists.compile_structure = counting


planned = [0]


def count_plans():
    """Count from now on how many plans this process works out."""
    from kits.planning.keeping import plans

    plain = plans.plan

    def counting(*args):
        planned[0] += 1
        return plain(*args)

    plans.plan = counting


def do(word, *numbers):
    if word == "plan":
        return answer_of_plan()
    if word == "change":
        with transaction.atomic(durable=True):
            write_line(*numbers)
    elif word == "begin":
        opened.append(transaction.atomic(durable=True))
        opened[0].__enter__()
        write_line(*numbers)
    elif word == "planned":
        return {"planned": planned[0]}
    elif word == "settle":
        settle()
    elif word == "begin_anew":
        compiled[0] = planned[0] = 0
        if opened:
            do("roll_back")
    elif word == "commit":
        opened.pop().__exit__(None, None, None)
    elif word == "roll_back":
        transaction.set_rollback(True)
        opened.pop().__exit__(None, None, None)
    return {}


opened = []


class SecondProcess:
    """The other end of the line, in the process of the tests."""

    def __init__(self, running):
        self.running = running

    def ask(self, *words):
        print(*words, file=self.running.stdin, flush=True)
        said = self.running.stdout.readline()
        assert said, f"the second process ended at {words}"
        return json.loads(said)


def url_of_database():
    """Return the address of the tests' own database, as ``DATABASE_URL`` writes it."""
    held = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{held['NAME']}"
    user, password, host, name = (quote(str(held[part]), safe="") for part in ("USER", "PASSWORD", "HOST", "NAME"))
    port = f":{held['PORT']}" if held["PORT"] else ""
    return f"postgres://{user}:{password}@{host}{port}/{name}"


@contextmanager
def second_process():
    """Run another process on the tests' database for as long as the block lasts."""
    running = subprocess.Popen(
        [sys.executable, "-m", "tests.kits.planning.second_process"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "DATABASE_URL": url_of_database(), "DJANGO_SETTINGS_MODULE": "kits.settings"},
    )
    try:
        yield SecondProcess(running)
    finally:
        running.stdin.close()
        running.wait(20)
        running.stdout.close()


if __name__ == "__main__":
    django.setup()
    count_compilations()
    count_plans()
    for order in sys.stdin:
        word, *numbers = order.split()
        print(json.dumps(do(word, *map(int, numbers))), flush=True)
