"""The shelf that clerks load, clerks in processes of their own, and what must hold whatever they did."""

from __future__ import annotations

import multiprocessing
import time
from collections import Counter
from multiprocessing.process import BaseProcess
from pathlib import Path

from django.db import connections
from django.db.models import Count, Sum

from bom.values import ONE
from kits.catalog.models import Item
from kits.purchasing.models import OrderLine, Receipt, Supplier
from kits.stock.models import Balance, KitPiece, Movement, Place, Posting, Suspicion
from kits.stock.queries import ledger_differences
from tests.kits.picking.bench_shop import AS_OF, BenchShop
from tests.load.clerk_room import work
from tests.load.clerks import read_journals

ONE_SIDED = {"opening", "receive", "count", "scrap", "consume", "opening_return"}
"""Kinds by which something comes into the shop or leaves it."""
KIT_WORK = {"pack", "unpack", "rob", "fill_up"}
"""Kinds by which pieces go into kits and out of them: even only when one looks into the kits."""
ORDERED = 300 * ONE


def lay_out_shelf() -> BenchShop:
    """The bench shop with more on the shelf, a dozen jobs, a door, home bins, a second kit to pack and open orders."""
    shop = BenchShop()
    Place.objects.create(place="DOOR", kind="staging")
    shop.item("K-GLAND", "kit", source="pack")
    for child, quantity in (("OR-210-N90", 2), ("NUT", 1)):
        shop.line("K-GLAND", child, quantity)
    Item.objects.filter(part_number__in=("NUT", "SEAT")).update(home_place="H1")
    Item.objects.filter(part_number__startswith="OR-210").update(home_place="A1")
    supplier = Supplier.objects.create(supplier="Bay Seals")
    for number, part in enumerate(("NUT", "SEAT", "OR-210-N90", "OR-210-N70")):
        for line in "12":
            OrderLine.objects.create(
                order=f"PO-{number}", line=line, supplier=supplier, item=shop.items[part], quantity=ORDERED,
                promised_on=AS_OF,
            )  # fmt: skip
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
        process.join(seconds + 120)
        # One who hangs would hold his rows, and with them every test after this one.
        process.kill()
    ended = [process.exitcode for process in processes]
    assert ended == [0] * clerks, f"the clerks ended with {ended}"
    lines = read_journals(folder)
    errors = [line["says"] for line in lines if line["word"] == "error"]
    assert not errors, f"{len(errors)} errors reached a clerk, the first: {errors[0]}"
    starved = [line["says"] for line in lines if "try again" in str(line.get("says"))]
    assert not starved, f"{len(starved)} times a clerk was sent away because others worked: {starved[0]}"
    hold_the_ledger(lines)
    tell(lines, f"{clerks} clerks, {seconds:g} seconds")
    return Counter(str(line["word"]) for line in lines)


def wait_for_work(journal: Path, lines: int) -> None:
    """Wait until a clerk has written so many lines, however long a busy machine takes to let him start."""
    gives_up = time.monotonic() + 60
    while not journal.exists() or journal.read_bytes().count(b"\n") < lines:
        assert time.monotonic() < gives_up, f"{journal.name}: the clerk never wrote line {lines}"
        time.sleep(0.002)


def tell(lines: list[dict[str, object]], title: str) -> None:
    """Say what was done how often, for whoever looks (pytest -rP shows it)."""
    deeds = {str(line["key"]): str(line["does"]) for line in lines if line["word"] == "try"}
    heard: dict[str, Counter[str]] = {}
    for word, key in {(str(line["word"]), str(line["key"])) for line in lines if line["word"] in ("done", "refused")}:
        heard.setdefault(word, Counter())[deeds.get(key, "?")] += 1
    print(f"{title}: {len(deeds)} asked, {Posting.objects.count()} postings, {Movement.objects.count()} movements")
    for word, times in sorted(heard.items()):
        print(f"  {word} {times.total()}: {', '.join(f'{does} {count}' for does, count in times.most_common())}")


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
    hold_the_orders()
    hold_the_kits()
    hold_the_suspicions()


def hold_both_sides() -> None:
    """What moves from one account to another leaves and arrives."""
    uneven = (
        Movement.objects.exclude(posting__kind__in=(*ONE_SIDED, *KIT_WORK, "reversal"))
        .values("posting")
        .annotate(sum=Sum("quantity"))
        .exclude(sum=0)
    )
    assert not uneven.exists(), f"half posted: {list(uneven[:5])}"


def hold_what_was_asked(lines: list[dict[str, object]]) -> None:
    """Each delivery, receipt and scrapping moved exactly what was asked for, all its lots together."""
    asked = {str(line["key"]): line["change"] for line in lines if line["word"] == "try" and line.get("change")}
    moved: Counter[str] = Counter()
    posted = Movement.objects.filter(posting__kind__in=("receive", "scrap")).values_list("posting__key", "quantity")
    for key, quantity in posted:
        moved[":".join(key.split(":")[:2])] += quantity
    for key, sum_of_lots in moved.items():
        says = f"{key} asked for {asked[key]} millionths ({ONE} is one piece) and moved {sum_of_lots}"
        assert sum_of_lots == asked[key], says


def hold_the_orders() -> None:
    """What is still to come and what has come off it is what was ordered, and what has come is what was received."""
    came = {
        line: (off, quantity)
        for line, off, quantity in Receipt.objects.order_by()
        .values_list("order_line")
        .annotate(off=Sum("off_open"), sum=Sum("quantity"))
    }
    for line in OrderLine.objects.all():
        off, quantity = came.get(line.pk, (0, 0))
        assert line.quantity + off == ORDERED, f"{line}: {line.quantity} still to come, {off} came off"
        assert line.received_quantity == quantity, f"{line}: {line.received_quantity} noted, {quantity} received"
    on_postings = Receipt.objects.order_by().values_list("posting").annotate(sum=Sum("quantity"))
    moved = dict(Movement.objects.order_by().values_list("posting").annotate(sum=Sum("quantity")))
    assert all(moved[posting] == quantity for posting, quantity in on_postings), "a receipt that its posting denies"


def hold_the_kits() -> None:
    """Pieces go into kits and come out of them, and none is made or lost on the way: loose and packed add up."""
    inside: dict[int, Counter[int]] = {}
    for piece in KitPiece.objects.all():
        inside.setdefault(piece.kit_lot_id, Counter())[piece.item_id] += piece.quantity
    there: Counter[int] = Counter()
    for lot, item, quantity in Balance.objects.values_list("lot", "lot__item", "quantity"):
        _open_up(there, inside, lot, item, quantity)
    came: Counter[int] = Counter()
    moves = Movement.objects.values_list(
        "balance__lot", "balance__lot__item", "quantity", "posting__kind", "posting__reverses__kind"
    )
    for lot, item, quantity, kind, reversed_kind in moves:
        if (reversed_kind or kind) in ONE_SIDED:
            _open_up(came, inside, lot, item, quantity)
    names = dict(Item.objects.values_list("pk", "part_number"))
    wrong = {names[item]: (there[item], came[item]) for item in there | came if there[item] != came[item]}
    assert not wrong, f"there, and come in less gone out, in millionths: {wrong}"


def _open_up(into: Counter[int], inside: dict[int, Counter[int]], lot: int, item: int, quantity: int) -> None:
    if lot not in inside:
        into[item] += quantity
        return
    for piece, in_one in inside[lot].items():
        into[piece] += quantity * in_one // ONE


def hold_the_suspicions() -> None:
    """A lot stands under one suspicion at a time, and what was frozen for one that is lifted was frozen by it."""
    standing = Suspicion.objects.filter(lifted_at__isnull=True).values("lot").annotate(times=Count("pk"))
    assert not standing.filter(times__gt=1).exists()
    frozen = Posting.objects.filter(kind="freeze")
    assert frozen.filter(suspicions=None).count() == 0, "a freeze that no suspicion owns"
