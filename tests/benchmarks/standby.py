"""A second cluster that follows the first: what can be read there, what a write says, how far behind it is, and whether
it is the same when it takes over.
"""

import re
import statistics
import threading
import time
from concurrent.futures import ThreadPoolExecutor

from tests.benchmarks.crowd import Browser, Crowd, pages_by_role, people_of
from tests.benchmarks.private_server import LIKE_A_SHOP, private_cluster
from tests.kits.web.hands import form_on

LOOK_EVERY = 0.1


class Lag(threading.Thread):
    """How many milliseconds later the standby shows what the first one has stored, looked at ten times a second."""

    def __init__(self, cluster):
        super().__init__(daemon=True)
        self.address, self.found, self.over = cluster.address, [], threading.Event()

    def run(self):
        import psycopg

        with psycopg.connect(self.address, autocommit=True) as first:
            while not self.over.wait(LOOK_EVERY):
                row = first.execute("SELECT extract(epoch FROM replay_lag) * 1000 FROM pg_stat_replication").fetchone()
                if row and row[0] is not None:
                    self.found.append(float(row[0]))


def try_standby(chosen, cluster):
    """Let a crowd work at the first, read and write at the standby, then let it take over."""
    from tests.benchmarks.processes import p95, shares_of, site, warm_up, work

    count, pages = chosen.processes[-1], pages_by_role()
    with private_cluster(LIKE_A_SHOP, of=cluster) as standby:
        with site(count) as running, site(1, DATABASE_URL=standby.address) as beside:
            crowd, lag = Crowd(running.port, pages, (6.0, 14.0)), Lag(cluster)
            many = people_of(crowd, shares_of(chosen.people))
            warm_up(running, many, count)
            lag.start()
            with ThreadPoolExecutor(1) as reader:
                answers = reader.submit(read_all, beside.port, many[0])
                found = work(crowd, many, chosen.seconds, running, cluster)
                lag.over.set()
            lags = sorted(lag.found)
            print(f"{len(found['answers'])} requests and {found['booked']} bookings at the first cluster meanwhile")
            print(
                f"the standby is behind by {statistics.median(lags):.1f} ms, 95 in 100 {p95(lags):.1f}, "
                f"at most {lags[-1]:.0f} ms, by {len(lags)} looks"
            )
            print("\n".join(answers.result()))
            print(f"told in the log of the standby's site: {beside.faults()}")
        take_over(cluster, standby)


def read_all(port, like):
    """What each page says at the standby, a booking and a sign-in, in words."""
    browser = Browser(port, like.browser.cookies["sessionid"][0])
    said = []
    for name, addresses in like.crowd.pages.items():
        status, _, page = browser.send(addresses[0])
        if status != 200:
            said.append(f"{name}: {told(status, page)}")
    said = [f"{len(like.crowd.pages) - len(said)} of {len(like.crowd.pages)} pages are read", *said]
    account = f"/storeroom/stock/{like.account}/"
    hidden = form_on(browser.send(account)[2], do="move")
    time.sleep(1.2)
    move = {**hidden, "quantity": "1", "place": like.elsewhere, "reason": ""}
    status, _, page = browser.send(account, move)
    said.append(f"a booking: {told(status, page)}")
    stranger = Browser(port)
    token = re.search(r'csrfmiddlewaretoken" value="(\w+)"', stranger.send("/sign-in/")[2])[1]
    status, _, page = stranger.send(
        "/sign-in/", {"csrfmiddlewaretoken": token, "username": "nobody", "password": "nothing"}
    )
    said.append(f"somebody signs in: {told(status, page)}")
    return said


def told(status, page):
    """Status, heading and first sentences of a page."""
    found = re.search(r"<h1>(.*?)</h1>.*?<p class=\"answer\">(.*?)</p>", page, re.S)
    return f"{status} {' | '.join(found.groups()) if found else page[:200]}"


def take_over(cluster, standby):
    """Stop the first, promote the standby, and hold what both hold against each other."""
    from django.db import connection

    from kits.exchange.copies.proofs import differences, read_contents, work_in
    from kits.settings import read_database

    before = read_contents()
    connection.close()
    cluster.stop("fast")
    began = time.monotonic()
    standby.promote()
    took = time.monotonic() - began
    with work_in(read_database(standby.address)):
        after = read_contents()
    print(f"the standby took over in {took:.1f} s; {after.says()}")
    print("\n".join(differences(before, after)) or "rows, balances, ledger and plan are those of the first")
    cluster.start()
