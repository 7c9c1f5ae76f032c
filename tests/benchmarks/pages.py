"""How long each page of a shop of full size takes, how heavy it is, and how often it asks the database.

    python -m tests.benchmarks.pages                     the table, some minutes
    python -m tests.benchmarks.pages --only batch part   pages whose name holds one of these
    python -m tests.benchmarks.pages --profile batch     where the time of one page goes, after a posting
    python -m tests.benchmarks.pages --keep FILE         keep the made database there, and use it when it is there

5 000 items, 30 000 structure lines, 400 jobs, about 20 000 lots, 500 kits and 3 000 order lines, all invented. Times
are of the processor and in U, the time that this process takes for ``sum(i * i for i in range(5_000_000))``, measured
before and after: a figure in U says much the same on another machine. *Cold*: the first request after a posting, which
makes the plan out of date; *warm*: nothing was written since. A page that is drawn piece by piece counts whole. Python
looks for rubbish as seldom as ``serve`` lets it.
"""

import argparse
import cProfile
import os
import pstats
import statistics
import tempfile
import time
from pathlib import Path

AIMS = {"warm": 1.0, "cold": 2.0, "kB": 300, "statements": 25}


def one_unit():
    """Seconds of the processor that U is now."""
    started = time.process_time()
    sum(i * i for i in range(5_000_000))
    return time.process_time() - started


def prepare(database):
    """Name the database to Django, and fill it with the shop if it is new."""
    os.environ["DATABASE_URL"] = f"sqlite:///{database}"
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "kits.settings")
    new = not database.exists()
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command

    settings.ALLOWED_HOSTS = ["testserver"]
    settings.SECURE_SSL_REDIRECT = False
    call_command("migrate", verbosity=0)
    if new:
        from tests.benchmarks.stored_shop import draw_shop, store

        print(f"{store(draw_shop())} rows stored")


def sign_in():
    """A client that may see and do everything."""
    from django.test import Client

    from kits.people.models import User

    user, _ = User.objects.get_or_create(username="benchmark", defaults={"is_superuser": True, "is_staff": True})
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client, user


def list_pages():
    """Name -> address: every page that people read all day, with the busiest batch, job, part and kit."""
    from django.db.models import Count

    from kits.catalog.models import Item, StructureLine
    from kits.schedule.models import Batch, Job
    from kits.stock.models import Balance

    batch = Batch.objects.annotate(n=Count("jobs")).order_by("-n", "name").first()
    job = Job.objects.filter(batch=batch).order_by("job").first()
    child = (
        StructureLine.objects.filter(at_rebuild="renew").values("child").annotate(n=Count("pk")).order_by("-n", "child")
    )
    part = Item.objects.get(pk=child[0]["child"])
    kit = Item.objects.filter(kind="kit").order_by("part_number").first()
    lot = Balance.objects.on_shelf().filter(quantity__gt=0).order_by("pk").first()
    return {
        "today": "/",
        "today, clerk": "/?for=clerk",
        "today, purchaser": "/?for=purchaser",
        "today, lead": "/?for=lead",
        "what frees most": "/freeing/",
        "waiting list": "/waiting/",
        "what changed": "/changes/",
        "week": "/week/",
        "schedule": "/schedule/",
        "batch": f"/batches/{batch.name}/",
        "shelf": f"/shelf/{batch.name}/",
        "job": f"/jobs/{job.job}/",
        "shortages": "/shortages/",
        "pumps and parts": "/pumps-and-parts/",
        "pump": f"/pumps/{job.pump.part_number}/",
        "part": f"/parts/{part.part_number}/",
        "kit": f"/kits/{kit.part_number}/",
        "search": "/search/?q=P-0001",
        "picking": "/picking/",
        "storeroom": "/storeroom/",
        "kits on the shelf": "/storeroom/kits/",
        "use first": "/storeroom/use-first/",
        "ending": "/storeroom/ending/",
        "top-up": "/storeroom/top-up/",
        "worth": "/storeroom/worth/",
        "movements": "/storeroom/movements/",
        "counts": "/storeroom/counts/",
        "put away": "/storeroom/put-away/",
        "receive": "/storeroom/receive/",
        "account": f"/storeroom/stock/{lot.pk}/",
        "purchasing": "/purchasing/",
        "due orders": "/purchasing/due/",
        "offers": "/purchasing/offers/",
        "upload": "/upload/",
    }


def post_one(user, number):
    """One posting, as a clerk makes it: a piece moved from one bin to another and, the next time, back."""
    from datetime import UTC, datetime

    from bom.values import ONE
    from kits.stock.actions import move_stock
    from kits.stock.ledger import OnShelf
    from kits.stock.models import Balance, Place

    row = (
        Balance.objects.on_shelf()
        .filter(quantity__gte=10 * ONE, packet="sealed", condition="usable")
        .order_by("pk")[number]
    )
    place = Place.objects.exclude(pk=row.place_id).filter(kind="bin").order_by("pk").first()
    source = OnShelf(row.lot_id, row.place_id, row.condition, row.packet)
    target = OnShelf(row.lot_id, place.pk, row.condition, row.packet)
    moment = datetime.now(UTC)
    move_stock(source=source, target=target, quantity=ONE, reason="", by=user, at=moment, key=f"bench-{time.time_ns()}")


def fetch(client, address):
    """One request: processor seconds, bytes and statements."""
    from django.db import connection

    asked = []

    def count(execute, sql, params, many, context):
        asked.append(sql)
        return execute(sql, params, many, context)

    with connection.execute_wrapper(count):
        started = time.process_time()
        answer = client.get(address)
        content = answer.getvalue() if answer.streaming else answer.content
        spent = time.process_time() - started
    if answer.status_code != 200:
        raise SystemExit(f"{address}: {answer.status_code}")
    return spent, len(content), len(asked)


def measure(only, rounds):
    client, user = sign_in()
    pages = {name: at for name, at in list_pages().items() if not only or any(word in name for word in only)}
    unit = one_unit()
    rows = {}
    fetch(client, "/")
    for number, (name, address) in enumerate(pages.items()):
        fetch(client, address)  # what is kept until the lists change stands by now
        post_one(user, number)
        cold, _, _ = fetch(client, address)
        warm = [fetch(client, address) for _ in range(rounds)]
        spent, weight, statements = statistics.median(row[0] for row in warm), warm[-1][1], warm[-1][2]
        rows[name] = {"warm": spent / unit, "cold": cold / unit, "kB": weight / 1000, "statements": statements}
        print_row(name, rows[name])
    print(
        f"\nU was {unit:.3f} s before and {one_unit():.3f} s after. In brackets what is aimed at, where it is missed."
    )
    return rows


def print_row(name, row):
    def cell(what, shown):
        return f"{shown} ({AIMS[what]:g})" if row[what] > AIMS[what] else shown

    cells = [f"{row['warm']:.2f}", f"{row['cold']:.2f}", f"{row['kB']:.0f}", f"{row['statements']}"]
    print(f"| {name} | " + " | ".join(map(cell, AIMS, cells)) + " |", flush=True)


def profile(name):
    client, user = sign_in()
    pages = list_pages()
    address = pages[min((page for page in pages if name in page), key=len)]
    fetch(client, address)
    post_one(user, 0)
    profiler = cProfile.Profile()
    profiler.runcall(fetch, client, address)
    pstats.Stats(profiler).strip_dirs().sort_stats("tottime").print_stats(35).sort_stats("cumtime").print_stats(70)


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.pages", description=__doc__.split("\n\n")[0])
    parser.add_argument("--only", nargs="+", default=[], metavar="WORD", help="pages whose name holds one of these")
    parser.add_argument("--rounds", type=int, default=3, help="requests of each page when nothing was written")
    parser.add_argument("--profile", metavar="PAGE", help="profile one page after a posting instead")
    parser.add_argument("--keep", type=Path, metavar="FILE", help="a database file to keep and to use again")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        prepare((chosen.keep or Path(folder) / "shop.sqlite3").resolve())
        if chosen.profile:
            profile(chosen.profile)
            return
        print("| page | warm, U | cold, U | kB | statements |\n|---|---|---|---|---|")
        measure(chosen.only, chosen.rounds)


if __name__ == "__main__":
    main()
