"""How long people wait for a page of a shop of full size while a clerk posts, with one web process and with several.

    python -m tests.benchmarks.processes                     1, 2 and 4 processes with a cache server, some minutes
    python -m tests.benchmarks.processes --processes 2       another number of them
    python -m tests.benchmarks.processes --alone             each process for itself, without a cache server
    DATABASE_URL=postgres://... python -m tests.benchmarks.processes    on this database, filled where it is empty

Six people read Schedule, Today and Batch, one after the other, and look at each page for a second or so; each request
goes to the next process. A clerk moves a piece from bin to bin every two seconds. The servers are those that a shop
runs; PostgreSQL and the cache server live as long as the run. Waits are by the clock on the wall, from asking to the
last byte, and in U, how long ``sum(i * i for i in range(5_000_000))`` takes by the same clock just before: on a machine
with other work both take longer.
"""

import argparse
import http.client
import os
import random
import re
import statistics
import subprocess
import sys
import threading
import time
from collections import defaultdict
from contextlib import ExitStack, contextmanager, nullcontext
from pathlib import Path

from tests.benchmarks.pages import list_pages, post_one, sign_in
from tests.benchmarks.private_server import CACHE_SERVER, free_port, private_cache, private_server, why_not

READ = ("schedule", "today", "batch")
PEOPLE, POST_EVERY, LOOKS_AT_IT = 6, 2.0, (0.5, 1.5)
AIM = 3
TOP = Path(__file__).parents[2]


def prepare():
    """Fill the database that ``DATABASE_URL`` names, where it is empty."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "kits.settings")
    import django

    django.setup()
    from django.core.management import call_command

    from kits.catalog.models import Item
    from tests.benchmarks.stored_shop import draw_shop, store

    call_command("migrate", verbosity=0)
    if not Item.objects.exists():
        print(f"{store(draw_shop())} rows stored", flush=True)


def serve(port):
    """One web process, as ``manage.py serve`` runs it, which says at its end how many plans it worked out."""
    import django

    django.setup()
    from django.core.management import call_command

    from kits.planning.keeping import plans

    plain, made = plans.plan, []

    def counting(*args):
        made.append(1)
        return plain(*args)

    plans.plan = counting
    try:
        call_command("serve", listen=f"127.0.0.1:{port}", stdout=sys.stderr)
    finally:
        print(len(made), flush=True)


def one_unit():
    """Seconds by the clock on the wall that U is now."""
    spent = []
    for _ in range(5):
        started = time.perf_counter()
        sum(i * i for i in range(5_000_000))
        spent.append(time.perf_counter() - started)
    return statistics.median(spent)


class WebProcess:
    """A web process that is running."""

    def __init__(self):
        self.port = free_port()
        self.running = subprocess.Popen(
            [sys.executable, "-m", "tests.benchmarks.processes", "--serve", str(self.port)],
            cwd=TOP, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip

    def wait_until_it_answers(self, cookie, addresses):
        for _ in range(400):
            try:
                return [ask(self.port, address, cookie) for address in addresses]
            except ConnectionRefusedError:
                time.sleep(0.1)
        raise SystemExit("a web process did not start")

    def seconds_worked(self):
        """Processor time until now."""
        fields = Path(f"/proc/{self.running.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def megabytes(self):
        """Memory held now."""
        status = Path(f"/proc/{self.running.pid}/status").read_text()
        return int(re.search(r"VmRSS:\s+(\d+)", status)[1]) / 1024

    def end(self):
        """Stop it, and return how many plans it worked out."""
        self.running.terminate()
        return int(self.running.communicate(timeout=60)[0])


@contextmanager
def web_processes(count):
    processes = [WebProcess() for _ in range(count)]
    try:
        yield processes
    finally:
        for process in processes:
            if process.running.poll() is None:
                process.running.kill()


def ask(port, address, cookie):
    """One request: seconds, and the page."""
    started = time.perf_counter()
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    connection.request("GET", address, headers={"Cookie": cookie})
    answer = connection.getresponse()
    page = answer.read()
    spent = time.perf_counter() - started
    connection.close()
    if answer.status != 200:
        raise SystemExit(f"{address}: {answer.status}")
    return spent, page


class Turns:
    """Whose turn it is among the processes."""

    def __init__(self, processes):
        self._ports, self._lock, self._next = [process.port for process in processes], threading.Lock(), 0

    def next(self):
        with self._lock:
            self._next += 1
            return self._ports[self._next % len(self._ports)]


def measure(count, pages, client, user, seconds):
    """Waits of so many people with so many processes, and what these did."""
    cookie = f"sessionid={client.cookies['sessionid'].value}"
    waits, shown, over, posts = defaultdict(list), [], threading.Event(), []
    with web_processes(count) as processes:
        for process in processes:
            process.wait_until_it_answers(cookie, pages.values())
        turns = Turns(processes)

        def read(number):
            dice = random.Random(number)
            time.sleep(dice.uniform(0, 1))
            order = list(pages.items())[number % len(pages) :] + list(pages.items())[: number % len(pages)]
            while not over.is_set():
                for name, address in order:
                    spent, page = ask(turns.next(), address, cookie)
                    waits[name].append(spent)
                    shown.append(b"being renewed" in page)
                    if over.wait(dice.uniform(*LOOKS_AT_IT)):
                        return

        def post():
            while not over.wait(POST_EVERY):
                started = time.perf_counter()
                post_one(user, len(posts) % 50)
                posts.append(time.perf_counter() - started)

        before = [process.seconds_worked() for process in processes]
        crowd = [threading.Thread(target=read, args=(number,)) for number in range(PEOPLE)]
        crowd.append(threading.Thread(target=post))
        for one in crowd:
            one.start()
        time.sleep(seconds)
        over.set()
        for one in crowd:
            one.join()
        worked = sum(process.seconds_worked() for process in processes) - sum(before)
        memory = sum(process.megabytes() for process in processes)
        made = sum(process.end() for process in processes)
    return {
        "waits": waits, "last": sum(shown) / len(shown), "posts": posts, "worked": worked / seconds,
        "plans": made, "MB": memory,
    }  # fmt: skip


def print_row(count, found, unit):
    every = sorted(wait for waits in found["waits"].values() for wait in waits)
    cells = [
        f"{len(every)}",
        f"{statistics.median(every) / unit:.1f}",
        f"{every[int(len(every) * 0.95)] / unit:.1f}",
        *(f"{max(found['waits'][name]) / unit:.1f}" for name in READ),
        f"{found['last']:.0%}",
        f"{max(found['posts']) / unit:.1f}",
        f"{len(found['posts'])}",
        f"{found['plans']}",
        f"{found['worked']:.2f}",
        f"{found['MB']:.0f}",
    ]
    print(f"| {count} | " + " | ".join(cells) + " |", flush=True)


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.processes", description=__doc__.split("\n\n")[0])
    parser.add_argument("--processes", type=int, nargs="+", default=[1, 2, 4], metavar="N")
    parser.add_argument("--seconds", type=float, default=40, help="how long they read, for each number of processes")
    parser.add_argument("--alone", action="store_true", help="without a cache server")
    parser.add_argument("--serve", type=int, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.serve:
        serve(chosen.serve)
        return
    named = os.environ.get("DATABASE_URL", "")
    if not named and why_not():
        raise SystemExit(f"{why_not()}: let DATABASE_URL name a PostgreSQL database.")
    if not chosen.alone and CACHE_SERVER is None:
        raise SystemExit("There is no Valkey or Redis server here (Debian: redis-server): install it, or say --alone.")
    with ExitStack() as stack:
        os.environ["DATABASE_URL"] = stack.enter_context(nullcontext(named) if named else private_server())
        if not chosen.alone:
            os.environ["CACHE_URL"] = stack.enter_context(private_cache())[0]
        os.environ["SECRET_KEY"] = "only for this benchmark, which serves invented things to itself"
        prepare()
        client, user = sign_in()
        pages = {name: at for name, at in list_pages().items() if name in READ}
        print(
            f"| processes | pages | median, U | 95 in 100, U | {' | '.join(f'longest {name}, U' for name in READ)} | "
            "last plan shown | longest posting, U | postings | plans | processors | MB |\n" + "|---" * 13 + "|"
        )
        for count in chosen.processes:
            unit = one_unit()
            print_row(count, measure(count, pages, client, user, chosen.seconds), unit)
        load = os.getloadavg()[0]
        print(f"\nU was {unit:.3f} s at last; the machine's load was {load:.1f}. The aim: nobody waits {AIM} U.")


if __name__ == "__main__":
    main()
