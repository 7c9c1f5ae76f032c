"""The shelf that clerks load, clerks in processes of their own, and what must hold whatever they did."""

from __future__ import annotations

import multiprocessing
from collections import Counter
from multiprocessing.process import BaseProcess
from pathlib import Path

from django.db import connections
from django.db.models import Count, Sum

from bom.values import ONE
from kits.stock.models import Balance, Movement, Posting
from kits.stock.queries import ledger_differences
from tests.kits.picking.bench_shop import BenchShop
from tests.load.clerk_room import work
from tests.load.clerks import read_journals

ONE_SIDED = {"opening", "receive", "count", "scrap", "consume", "opening_return"}


def lay_out_shelf() -> BenchShop:
    """The bench shop with more on the shelf and a dozen jobs."""
    shop = BenchShop()
    more = (("NUT", "H-2", "A1", 200), ("SEAT", "S-2", "A1", 90), ("OR-210-N70", "N-9", "A2", 150))
    for part, lot, place, quantity in more:
        shop.stock(part, lot, place, quantity)
    for number in range(12):
        shop.job(f"J-{number}", ("both", "one", "valve")[number % 3])
    return shop


def start_clerk(number: int, folder: Path, seconds: float, seed: int) -> BaseProcess:
    """A clerk in a process of his own, with a connection of his own."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([work.__module__])
    database = connections["default"].settings_dict["NAME"]
    process = context.Process(target=work, args=(str(database), number, folder, seconds, seed))
    process.start()
    return process


def work_at_once(clerks: int, seconds: float, folder: Path, seed: int = 0) -> Counter[str]:
    """Let several clerks work at once, hold what must hold, and return how often each thing was done."""
    processes = [start_clerk(number, folder, seconds, seed) for number in range(clerks)]
    for process in processes:
        process.join(seconds + 60)
        # One who hangs would hold his rows, and with them every test after this one.
        process.kill()
    ended = [process.exitcode for process in processes]
    assert ended == [0] * clerks, f"the clerks ended with {ended}"
    lines = read_journals(folder)
    errors = [line["says"] for line in lines if line["word"] == "error"]
    assert not errors, f"{len(errors)} errors reached a clerk, the first: {errors[0]}"
    hold_the_ledger(lines)
    return Counter(str(line["word"]) for line in lines)


def hold_the_ledger(lines: list[dict[str, object]]) -> None:
    """Nothing negative, nothing lost, nothing double, nothing half: every promise stands once, and nothing else."""
    assert ledger_differences() == []
    assert not Balance.objects.filter(quantity__lt=0).exists()
    promised = [str(line["posting"]) for line in lines if line["word"] == "done" and line["posting"]]
    keys = list(Posting.objects.values_list("key", flat=True))
    assert len(keys) == len(set(keys))
    lost = set(promised) - set(keys)
    assert not lost, f"promised and not posted: {sorted(lost)[:5]}"
    tried = {str(line["key"]) for line in lines}
    foreign = {key for key in keys if key.startswith("clerk-") and ":".join(key.split(":")[:2]) not in tried}
    assert not foreign, f"posted and never asked for: {sorted(foreign)[:5]}"
    empty = Posting.objects.annotate(held=Count("movements")).filter(held=0)
    assert not empty.exists(), "a posting without movements"
    hold_both_sides()
    hold_what_was_asked(lines)


def hold_both_sides() -> None:
    """What moves from one account to another leaves and arrives."""
    uneven = (
        Movement.objects.exclude(posting__kind__in=(*ONE_SIDED, "reversal"))
        .values("posting")
        .annotate(sum=Sum("quantity"))
        .exclude(sum=0)
    )
    assert not uneven.exists(), f"half posted: {list(uneven[:5])}"


def hold_what_was_asked(lines: list[dict[str, object]]) -> None:
    """Each receipt and each scrapping moved exactly what was asked for."""
    asked = {str(line["key"]): line["change"] for line in lines if line["word"] == "try" and line.get("change")}
    posted = dict(
        Movement.objects.filter(posting__kind__in=("receive", "scrap"))
        .values_list("posting__key")
        .annotate(sum=Sum("quantity"))
    )
    for key, moved in posted.items():
        assert moved == asked[key], f"{key} asked for {asked[key]} millionths ({ONE} is one piece) and moved {moved}"
