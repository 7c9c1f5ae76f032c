"""The site while its database is away or the disk is full, and when that is over; by a server of its own, too."""

import http.client
import logging
import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import pytest
from django.conf import settings as site
from django.contrib.auth.models import Group
from django.db import InterfaceError, OperationalError, connection
from django.test import Client

from bom.values import ONE
from kits.catalog.waiting import is_away
from kits.exchange import upload_workers
from kits.exchange.copies.backups import back_up
from kits.exchange.models import Upload, UploadState
from kits.people.models import User
from kits.stock.models import Balance, Posting
from tests.kits.web.hands import key_on
from tests.kits.web.shops import load_small

pytestmark = pytest.mark.django_db(transaction=True)
on_sqlite = pytest.mark.skipif("connection.vendor != 'sqlite'", reason="this is how SQLite fails")

TOP = Path(__file__).parents[3]
AT_MOST = 30
"""Seconds after which a test gives up on what should have happened."""


@pytest.fixture
def clerk(transactional_db):
    """A browser that shows what a server would, instead of handing on the failure."""
    load_small()
    person = User.objects.create_user("clerk")
    person.groups.add(Group.objects.get(name="Storeroom clerk"))
    browser = Client(raise_request_exception=False)
    browser.force_login(person)
    return browser


class Told(logging.Handler):
    """What the log was told, record by record."""

    def __init__(self):
        super().__init__()
        self.records = []

    def emit(self, record):
        self.records.append(record)


@pytest.fixture
def told():
    """What the log of requests was told, as it would be written."""
    handler = Told()
    logging.getLogger("django.request").addHandler(handler)
    yield handler.records
    logging.getLogger("django.request").removeHandler(handler)


def assert_one_line(told, says):
    (record,) = told
    assert re.search(says, record.getMessage()), record.getMessage()
    assert record.exc_info is None
    assert "\n" not in logging.Formatter().format(record)


@contextmanager
def full_disk():
    """A database that may not grow, which it says as it would of a full disk."""
    with connection.cursor() as cursor:
        (usual,) = cursor.execute("PRAGMA max_page_count").fetchone()
        (pages,) = cursor.execute("PRAGMA page_count").fetchone()
        cursor.execute(f"PRAGMA max_page_count = {pages}")
        yield
        cursor.execute(f"PRAGMA max_page_count = {usual}")


def scrap(clerk):
    """The address and the form of scrapping two rings for a reason so long that it takes a page of the file."""
    lot = Balance.objects.get(lot__lot="L-1", place__place="A1")
    address = f"/storeroom/stock/{lot.pk}/"
    said = {"do": "scrap", "quantity": "2", "reason": 'nicked "twice"'}
    return address, {"key": key_on(clerk, address, do="scrap"), **said}


@on_sqlite
def test_full_disk_is_said_with_what_was_typed_and_is_posted_once_when_there_is_room_again(clerk, told, monkeypatch):
    address, said = scrap(clerk)
    real = Posting.save

    def grow(posting, *args, **kwargs):
        with connection.cursor() as cursor:
            cursor.execute("CREATE TABLE filler (text TEXT)")
            cursor.execute("INSERT INTO filler VALUES (?)", ["x" * 10**7])
        real(posting, *args, **kwargs)

    with full_disk(), monkeypatch.context() as patch:
        patch.setattr(Posting, "save", grow)
        answer = clerk.post(address, said)
    page = answer.content.decode()
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "30")
    assert "it is kept on this sheet" in page
    kept = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', page))
    assert kept["reason"] == "nicked &quot;twice&quot;"
    assert kept["key"] == said["key"]
    assert "csrfmiddlewaretoken" in kept
    assert_one_line(told, r"The database is away \(database or disk is full\): .*/storeroom/stock/")
    for _ in range(2):
        assert clerk.post(address, said).status_code == 302
    assert Balance.objects.get(lot__lot="L-1", place__place="A1").quantity == 10 * ONE


SESSION = "kits.web.serving.session_keys.SessionStore.load"
VIEW = "kits.web.views.storeroom.front.front_numbers"
ON_THE_WAY_OUT = "django.contrib.sessions.middleware.SessionMiddleware.process_response"


@pytest.mark.parametrize("where", [[SESSION], [VIEW], [ON_THE_WAY_OUT], [VIEW, ON_THE_WAY_OUT]])
def test_outage_is_answered_and_told_alike_wherever_in_a_request_it_is_met(clerk, told, monkeypatch, where):
    def fail(*_, **__):
        raise sqlite_error("SQLITE_IOERR")

    for one in where:
        monkeypatch.setattr(one, fail)
    answer = clerk.get("/storeroom/")
    assert answer.status_code == 503
    assert 'href="/storeroom/">Load it again' in answer.content.decode()
    assert_one_line(told, r"SQLITE_IOERR")
    monkeypatch.undo()
    assert clerk.get("/storeroom/").status_code == 200


def test_fault_of_our_own_is_told_with_its_trace(clerk, told, monkeypatch):
    monkeypatch.setattr("kits.web.views.storeroom.front.front_numbers", lambda *_, **__: 1 // 0)
    answer = clerk.get("/storeroom/")
    assert answer.status_code == 500
    assert "Something broke on our side" in answer.content.decode()
    (record,) = told
    assert record.exc_info[0] is ZeroDivisionError


def sqlite_error(name):
    error = OperationalError(name)
    error.__cause__ = sqlite3.OperationalError(name)
    error.__cause__.sqlite_errorname = name
    return error


@pytest.mark.parametrize(
    ("error", "away"),
    [
        (sqlite_error("SQLITE_FULL"), True),
        (sqlite_error("SQLITE_CANTOPEN"), True),
        (sqlite_error("SQLITE_IOERR_WRITE"), True),
        (sqlite_error("SQLITE_READONLY_DBMOVED"), True),
        (sqlite_error("SQLITE_ERROR"), False),
        (OperationalError("server closed the connection unexpectedly"), True),
        (InterfaceError("connection already closed"), True),
        (OSError(28, "No space left on device"), True),
        (OSError(2, "No such file"), False),
        (ValueError("nothing of the kind"), False),
    ],
)
def test_what_will_pass_is_told_from_what_is_our_own_fault(error, away):
    assert is_away(error) is away


@on_sqlite
def test_long_list_whose_work_met_an_outage_can_be_taken_up(transactional_db, monkeypatch, caplog):
    upload = Upload.objects.create(
        state=UploadState.CHECKING, worker=upload_workers.this_process(), at="2026-03-04T09:00Z"
    )

    def work(_):
        raise sqlite_error("SQLITE_FULL")

    upload_workers._run(upload, work)
    assert [record.exc_info for record in caplog.records] == [None]
    upload.refresh_from_db()
    assert (upload.state, upload_workers.progress_of(upload)) == (UploadState.CHECKING, None)


@contextmanager
def records_that_can_only_be_read():
    """A database that refuses what is written as a standby does, or a file that may not be written to."""
    lite = connection.vendor == "sqlite"
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA query_only = 1" if lite else "SET default_transaction_read_only = on")
        try:
            yield
        finally:
            cursor.execute("PRAGMA query_only = 0" if lite else "SET default_transaction_read_only = off")


def test_where_records_can_only_be_read_a_booking_says_so_and_is_kept_to_be_sent_again(clerk, told):
    address, said = scrap(clerk)
    with records_that_can_only_be_read():
        assert clerk.get("/storeroom/").status_code == 200
        answer = clerk.post(address, said)
    page = answer.content.decode()
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "30")
    assert ("The records can only be read here" in page) == (connection.vendor == "postgresql"), "a file follows nobody"
    assert f'name="key" value="{said["key"]}"' in page
    assert_one_line(told, r"read.?only")
    assert clerk.post(address, said).status_code == 302
    assert Balance.objects.get(lot__lot="L-1", place__place="A1").quantity == 10 * ONE


@pytest.mark.postgres
def test_connection_that_is_cut_in_the_middle_is_said_and_the_next_request_has_another(clerk, told):
    address, said = scrap(clerk)
    with elsewhere() as other, connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        other.execute("SELECT pg_terminate_backend(%s)", cursor.fetchone())
    answer = clerk.post(address, said)
    assert answer.status_code == 503
    assert_one_line(told, r"The database is away \(")
    connection.close()  # as the server does between two requests
    assert clerk.post(address, said).status_code == 302
    assert Balance.objects.get(lot__lot="L-1", place__place="A1").quantity == 10 * ONE


@contextmanager
def elsewhere():
    """A connection to the same server that is none of the site's."""
    facts = connection.get_connection_params()
    wanted = {name: facts[name] for name in ("host", "port", "user", "password") if facts.get(name)}
    with connection.Database.connect(**wanted, dbname="postgres", autocommit=True) as other:
        yield other


class Site:
    """The site as a shop runs it, on the database of this test."""

    def __init__(self, tmp_path, key):
        self.cookie, self.log = f"{site.SESSION_COOKIE_NAME}={key}", tmp_path / "log.txt"
        self.file = tmp_path / "served.sqlite3" if connection.vendor == "sqlite" else None
        if self.file:
            back_up(self.file)
            url = f"sqlite:///{self.file}"
        else:
            facts = connection.settings_dict
            url = f"postgres://{facts['USER']}:{facts['PASSWORD']}@{facts['HOST']}:{facts['PORT']}/{facts['NAME']}"
        around = {**os.environ, "DATABASE_URL": url, "SECRET_KEY": site.SECRET_KEY, "DEBUG": "0"}
        with self.log.open("w") as log:
            command = [sys.executable, "manage.py", "serve", "--listen", "127.0.0.1:0"]
            self.process = subprocess.Popen(command, cwd=TOP, env=around, stdout=log, stderr=log)
        self.port = self.until(self.find_port)

    def find_port(self):
        found = re.search(r"Serving .* on 127\.0\.0\.1:(\d+) ", self.log.read_text())
        return int(found[1]) if found else None

    def until(self, happens):
        """What it gives once it gives something, within bounds."""
        end = time.monotonic() + AT_MOST
        while not (found := happens()):
            assert time.monotonic() < end, self.log.read_text()
            assert self.process.poll() is None, self.log.read_text()
            time.sleep(0.1)
        return found

    def get(self, path="/storeroom/"):
        talk = http.client.HTTPConnection("127.0.0.1", self.port, timeout=AT_MOST)
        try:
            talk.request("GET", path, headers={"Cookie": self.cookie})
            answer = talk.getresponse()
            answer.read()
            return answer.status, answer.headers["Retry-After"]
        finally:
            talk.close()

    @contextmanager
    def database_away(self):
        if self.file:
            gone = self.file.with_name("gone.sqlite3")
            self.file.rename(gone)
            yield
            gone.rename(self.file)
            return
        name = connection.ops.quote_name(connection.settings_dict["NAME"])
        connection.close()
        with elsewhere() as other:
            other.execute(f"ALTER DATABASE {name} ALLOW_CONNECTIONS false")
            try:
                cut = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s"
                other.execute(cut, [connection.settings_dict["NAME"]])
                yield
            finally:
                other.execute(f"ALTER DATABASE {name} ALLOW_CONNECTIONS true")

    def stop(self):
        self.process.send_signal(signal.SIGTERM)
        self.process.wait(AT_MOST)


@pytest.fixture
def served(clerk, tmp_path):
    running = Site(tmp_path, clerk.cookies[site.SESSION_COOKIE_NAME].value)
    yield running
    running.stop()


def test_site_says_that_its_database_is_away_in_one_line_each_and_comes_back_by_itself(served):
    assert served.get() == (200, None)
    before = served.log.read_text()
    with served.database_away():
        assert [served.get() for _ in range(3)] == [(503, "30")] * 3
        said = served.log.read_text().removeprefix(before).splitlines()
        assert not served.file or not served.file.exists(), "it made a new, empty database"
    assert [("The database is away (" in line, "/storeroom/" in line) for line in said] == [(True, True)] * 3
    assert served.get() == (200, None)


@on_sqlite
def test_nobody_but_its_owner_reads_what_the_site_keeps(served):
    served.file.chmod(0o644)
    served.get()
    kept = [path for path in served.file.parent.iterdir() if path.name.startswith("served")]
    assert {path.name: oct(path.stat().st_mode & 0o777) for path in kept} == {path.name: "0o600" for path in kept}
