"""Fifty people at a shop of full size, served by one gunicorn process or several: waits, errors, processors, memory.

    python -m tests.benchmarks.processes                     1, 2 and 4 processes, a quarter of an hour and more
    python -m tests.benchmarks.processes --processes 2 --people 20 --seconds 60      fewer of each
    python -m tests.benchmarks.processes --books 0.1         a tenth of the bookings
    python -m tests.benchmarks.processes --alone             each process for itself, without a cache server
    python -m tests.benchmarks.processes --disturbed         a process killed each minute, the database stopped twice
    python -m tests.benchmarks.processes --standby           a second cluster that follows: what can be read there
    python -m tests.benchmarks.processes --keep FOLDER ...   keep the files of the filled database, and use them again

Clerks, planners, purchasers and leads read their pages and look at each for ten seconds (`tests.benchmarks.crowd`);
clerks move, adjust and count. The site is what ``.deploy/gunicorn.conf.py`` makes of it, PostgreSQL is as it comes,
with what was confirmed on the disk, and the cache server has no disk; all live as long as the run. First one person
works alone, who is all of them in turn and looks at each page for a second and a half. Waits are by the clock on the
wall, from asking to the last byte. At the end what was confirmed to anybody must stand in the ledger once.
"""

import argparse
import os
import re
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter, defaultdict
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from pathlib import Path

from tests.benchmarks.crowd import SHARES, Crowd, newest_posting, pages_by_role, people_of, prove_books
from tests.benchmarks.private_server import (
    CACHE_SERVER,
    LIKE_A_SHOP,
    free_port,
    private_cache,
    private_cluster,
    why_not,
)

TOP = Path(__file__).parents[2]
LOOKS_ALONE, LOOKS = (1.1, 1.9), (6.0, 14.0)
AWAY_SECONDS = 5
TICKS = os.sysconf("SC_CLK_TCK")


def prepare(address):
    """Name the database to Django, and fill it with the shop where it is empty."""
    os.environ["DATABASE_URL"] = address
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "kits.settings")
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection

    from kits.catalog.models import Item
    from tests.benchmarks.stored_shop import draw_shop, store

    call_command("migrate", verbosity=0)
    if not Item.objects.exists():
        print(f"{store(draw_shop())} rows stored", flush=True)
        with connection.cursor() as cursor:
            cursor.execute("VACUUM ANALYZE")


class Gunicorn:
    """The site with so many processes, as ``.deploy`` runs it."""

    def __init__(self, count, **told):
        self.port, self.log = free_port(), tempfile.NamedTemporaryFile("w+", suffix=".log")  # noqa: SIM115
        around = {
            **os.environ, "LISTEN": f"127.0.0.1:{self.port}", "WEB_PROCESSES": str(count), "SHOP_FILE": "",
            "ALLOWED_HOSTS": "127.0.0.1", "SECURE": "0", **told,
        }  # fmt: skip
        command = [sys.executable, "-m", "gunicorn", "--config", ".deploy/gunicorn.conf.py", "kits.wsgi"]
        self.running = subprocess.Popen(command, cwd=TOP, env=around, stdout=self.log, stderr=self.log)

    def workers(self):
        return children_of(self.running.pid)

    def faults(self):
        """How often something broke, by what was written of it."""
        told = Path(self.log.name).read_text()
        lines = re.findall(r"^\S+ (?:ERROR|CRITICAL) .*$", told, re.M)
        traces = re.findall(r"^(\S.*)\n(?:.*\n){0,2}?Traceback", told, re.M)
        return {"traces": traces[:3], "lines": len(lines), "first": lines[:1]}

    def end(self):
        self.running.terminate()
        self.running.wait(60)


@contextmanager
def site(count, **told):
    """The site while the block lasts."""
    running = Gunicorn(count, **told)
    try:
        yield running
    finally:
        running.end()


def children_of(pid):
    found = Path(f"/proc/{pid}/task/{pid}/children")
    return [int(child) for child in found.read_text().split()] if found.exists() else []


def seconds_worked(pid):
    """Processor time of a process and of all that it began, ended ones included."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except (FileNotFoundError, ProcessLookupError):
        return 0.0
    return sum(map(int, fields[11:15])) / TICKS + sum(map(seconds_worked, children_of(pid)))


def megabytes(pid, what="VmRSS"):
    """Memory held now, or the most of it (``VmHWM``)."""
    found = re.search(rf"{what}:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())
    return int(found[1]) / 1024 if found else 0.0


def warm_up(running, people, count):
    """Let every process read the lists and each page be drawn once."""
    began, pages = time.monotonic(), [pages[0] for pages in people[0].crowd.pages.values()]
    asker = people[0]
    while not running.workers() and time.monotonic() - began < 60:
        time.sleep(0.1)
    with ThreadPoolExecutor(4 * count) as several:
        for _ in range(20):
            list(several.map(lambda page: asker.ask("warm up", page), pages * (1 + count // 2)))
            if len(running.workers()) == count and all(megabytes(pid) > 250 for pid in running.workers()):
                break
    asker.crowd.answers.clear()


class Connections(threading.Thread):
    """Looks now and then how many connections the database has, and the site how much memory."""

    def __init__(self, running):
        super().__init__(daemon=True)
        self.running, self.most, self.memory, self.over = running, 0, 0.0, threading.Event()

    def run(self):
        from django.db import Error, connection

        while not self.over.wait(2):
            try:
                with connection.cursor() as cursor:
                    cursor.execute("SELECT count(*) FROM pg_stat_activity WHERE backend_type = 'client backend'")
                    self.most = max(self.most, cursor.fetchone()[0] - 1)
            except Error:
                connection.close()
            pids = self.running.workers()
            try:
                self.memory = max(self.memory, sum(map(megabytes, pids)) / max(1, len(pids)))
            except (FileNotFoundError, ProcessLookupError):
                continue
        connection.close()


def work(crowd, people, seconds, running, cluster, disturb=None):
    """What so many people met, and what it took."""
    watch, since = Connections(running), newest_posting()
    before = [seconds_worked(running.running.pid), seconds_worked(cluster.pid), time.process_time(), time.monotonic()]
    watch.start()
    disturbing = threading.Thread(target=disturb or time.time, daemon=True)
    disturbing.start()
    crowd.work(people, seconds)
    disturbing.join()
    watch.over.set()
    lasted = time.monotonic() - before[3]
    found = {
        "answers": list(crowd.answers),
        "lasted": lasted,
        "web": (seconds_worked(running.running.pid) - before[0]) / lasted,
        "database": (seconds_worked(cluster.pid) - before[1]) / lasted,
        "people": (time.process_time() - before[2]) / lasted,
        "connections": watch.most,
        "MB": watch.memory,
    }
    crowd.answers.clear()
    crowd.over.clear()
    from django.db import connection

    connection.close()
    booked, wrong = prove_books(people, since)
    print("".join(f"WRONG BOOKS: {says}\n" for says in wrong), end="", flush=True)
    return found | {"booked": booked}


def waits(found):
    return sorted(answer.seconds for answer in found["answers"] if not answer.wrong)


def p95(values):
    return values[int(len(values) * 0.95)]


HEADS = ("processes", "people", "requests", "a second", "median, ms", "95 in 100, ms", "longest, ms",
         "times one person", "at 95", "errors", "bookings", "processors: web", "database", "MB a process",
         "connections")  # fmt: skip


def print_row(count, people, found, alone):
    every = waits(found)
    middle, late = statistics.median(every), p95(every)
    cells = [
        f"{count}", f"{people}", f"{len(every)}", f"{len(every) / found['lasted']:.1f}",
        f"{middle * 1000:.0f}", f"{late * 1000:.0f}", f"{every[-1] * 1000:.0f}",
        f"{middle / statistics.median(alone):.2f}", f"{late / p95(alone):.2f}",
        f"{sum(bool(answer.wrong) for answer in found['answers'])}", f"{found['booked']}",
        f"{found['web']:.2f}", f"{found['database']:.2f}", f"{found['MB']:.0f}", f"{found['connections']}",
    ]  # fmt: skip
    print(f"| {' | '.join(cells)} |", flush=True)


def print_pages(found):
    """Each page by itself, and what was wrong."""
    by_page = defaultdict(list)
    for answer in found["answers"]:
        if not answer.wrong:
            by_page[answer.page].append(answer.seconds)
    print("\n| page | requests | median, ms | longest, ms |\n|---|---|---|---|")
    for page, spent in sorted(by_page.items(), key=lambda row: -statistics.median(row[1])):
        print(f"| {page} | {len(spent)} | {statistics.median(spent) * 1000:.0f} | {max(spent) * 1000:.0f} |")
    for wrong, times in Counter(answer.wrong for answer in found["answers"] if answer.wrong).most_common():
        print(f"{times} times: {wrong}")
    print(f"the people themselves took {found['people']:.2f} processors\n", flush=True)


def shares_of(people):
    """So many people, made up as fifty are."""
    whole = sum(SHARES.values())
    return {role: max(1, round(share * people / whole)) for role, share in SHARES.items()}


def compare(chosen, cluster):
    """One person and a crowd, for each number of processes."""
    print(f"| {' | '.join(HEADS)} |\n" + "|---" * len(HEADS) + "|", flush=True)
    pages, last = pages_by_role(), None
    for count in chosen.processes:
        with site(count) as running:
            lonely, crowd = Crowd(running.port, pages, LOOKS_ALONE), Crowd(running.port, pages, LOOKS, chosen.books)
            one = people_of(lonely, {"": 1})
            warm_up(running, one, count)
            alone = work(lonely, one, chosen.alone_seconds, running, cluster)
            print_row(count, 1, alone, waits(alone))
            many = people_of(crowd, shares_of(chosen.people))
            last = work(crowd, many, chosen.seconds, running, cluster)
            print_row(count, len(many), last, waits(alone))
            if chosen.pages:
                print_pages(last)
            if any(running.faults().values()):
                print(f"told in the log: {running.faults()}")


class Disturbances:
    """What is done to the site while people work: a process killed each minute, the database stopped in between."""

    def __init__(self, running, cluster, minutes):
        self.running, self.cluster, self.minutes = running, cluster, minutes
        self.happened = []

    def __call__(self):
        ways = ["fast", "immediate"]
        for _ in range(self.minutes):
            time.sleep(25)
            victim = self.running.workers()[0]
            os.kill(victim, signal.SIGKILL)
            self.happened.append(("a process killed", time.monotonic(), time.monotonic()))
            time.sleep(15)
            if ways:
                how, began = ways.pop(0), time.monotonic()
                self.cluster.stop(how)
                time.sleep(AWAY_SECONDS)
                self.cluster.start()
                self.happened.append((f"the database stopped ({how})", began, time.monotonic()))
            time.sleep(max(0, 20 - AWAY_SECONDS))


def disturb(chosen, cluster):
    """A crowd whose site is disturbed: what they met, and how soon all was well again."""
    count, pages = chosen.processes[-1], pages_by_role()
    with site(count) as running:
        crowd = Crowd(running.port, pages, LOOKS)
        many = people_of(crowd, shares_of(chosen.people))
        warm_up(running, many, count)
        events = Disturbances(running, cluster, max(1, round(chosen.seconds / 60)))
        found = work(crowd, many, chosen.seconds, running, cluster, events)
        told = running.faults()
    print(f"{count} processes, {len(many)} people; {found['booked']} bookings, each once")
    print("| what was done | answered 503 | not answered | else wrong | well again after, s | longest wait, s |")
    print("|---|---|---|---|---|---|")
    starts = [event[1] for event in events.happened] + [float("inf")]
    for (what, began, back), following in zip(events.happened, starts[1:], strict=True):
        met = [one for one in found["answers"] if began <= one.at + one.seconds < following]
        wrong = [one for one in met if one.wrong]
        kinds = Counter(one.wrong if one.wrong == "503" else one.wrong.partition(" (")[0] for one in wrong)
        again = max((one.at + one.seconds for one in wrong), default=back) - back
        print(
            f"| {what} | {kinds['503']} | {kinds['no answer']} | {kinds.total() - kinds['503'] - kinds['no answer']} | "
            f"{max(0, again):.1f} | "
            f"{max(one.seconds for one in met):.1f} |"
        )
    print_pages(found)
    print(f"told in the log: {told}")


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.processes", description=__doc__.split("\n\n")[0])
    parser.add_argument("--processes", type=int, nargs="+", default=[1, 2, 4], metavar="N")
    parser.add_argument("--people", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=300, help="how long they work, for each number of processes")
    parser.add_argument("--books", type=float, default=1, help="the share of forms looked at that clerks send")
    parser.add_argument("--alone-seconds", type=float, default=60, help="how long one person works before")
    parser.add_argument("--alone", action="store_true", help="without a cache server")
    parser.add_argument("--disturbed", action="store_true", help="with the last number of processes, disturbed")
    parser.add_argument("--standby", action="store_true", help="with a second cluster that follows")
    parser.add_argument("--pages", action="store_true", help="each page by itself, too")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="files of a filled database to keep and use again")
    chosen = parser.parse_args()
    if why_not():
        raise SystemExit(f"{why_not()}.")
    if not chosen.alone and CACHE_SERVER is None:
        raise SystemExit("There is no Valkey or Redis server here (Debian: redis-server): install it, or say --alone.")
    os.environ["SECRET_KEY"] = "only for this benchmark, which serves invented things to itself"
    with ExitStack() as stack:
        kept = chosen.keep if chosen.keep and chosen.keep.exists() else None
        cluster = stack.enter_context(private_cluster(LIKE_A_SHOP, like=kept))
        prepare(cluster.address)
        if chosen.keep and kept is None:
            keep_files(cluster, chosen.keep)
        if not chosen.alone:
            os.environ["CACHE_URL"] = stack.enter_context(private_cache())[0]
        if chosen.standby:
            from tests.benchmarks.standby import try_standby

            try_standby(chosen, cluster)
        elif chosen.disturbed:
            disturb(chosen, cluster)
        else:
            compare(chosen, cluster)
    print(f"\nThe machine's load was {os.getloadavg()[0]:.1f}; it has {os.cpu_count()} cores.")


def keep_files(cluster, folder):
    from django.db import connection

    connection.close()
    cluster.stop("fast")
    subprocess.run(["cp", "-a", cluster.data, folder], check=True)
    cluster.start()


if __name__ == "__main__":
    main()
