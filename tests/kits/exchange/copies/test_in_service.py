"""Whether the site is up is known from a lock that no killed process leaves behind."""

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.db import connection

from kits.exchange.copies import in_service as marks
from kits.exchange.copies.in_service import SiteIsClosed, SiteIsUp, in_service, site_closed
from kits.exchange.copies.proofs import work_in
from tests.kits.exchange.copies.databases import server

TOP = Path(__file__).parents[4]


def test_several_web_processes_serve_and_nobody_restores_meanwhile(other_database):
    with work_in(other_database):
        with in_service(), in_service(), pytest.raises(SiteIsUp), site_closed():
            pass
        with site_closed():
            pass


def test_web_process_does_not_start_while_a_copy_is_put_in_place(other_database):
    with work_in(other_database):
        with site_closed(), pytest.raises(SiteIsClosed, match="wait until that has ended"), in_service():
            pass
        with in_service():
            pass


def address_of(settings):
    if connection.vendor == "sqlite":
        return f"sqlite:///{settings['NAME']}"
    return "postgres://{USER}:{PASSWORD}@{HOST}:{PORT}/{NAME}".format(**settings)


def test_site_that_nobody_has_asked_anything_is_known_to_be_up_until_it_is_killed(empty_shop, tmp_path):
    log = tmp_path / "log.txt"
    with log.open("w") as file:
        command = [sys.executable, "manage.py", "serve", "--listen", "127.0.0.1:0"]
        around = {**os.environ, "DATABASE_URL": address_of(empty_shop)}
        serving = subprocess.Popen(command, cwd=TOP, env=around, stdout=file, stderr=file)
    try:
        end = time.monotonic() + 60
        while not re.search("^Serving ", log.read_text(), re.MULTILINE) and time.monotonic() < end:
            time.sleep(0.1)
        with work_in(empty_shop), pytest.raises(SiteIsUp), site_closed():
            pass
    finally:
        serving.send_signal(signal.SIGKILL)
        serving.wait()
    end = time.monotonic() + 10
    while time.monotonic() < end:  # the server takes a moment to notice that the process is gone
        try:
            with work_in(empty_shop), site_closed():
                return
        except SiteIsUp:
            time.sleep(0.2)
    raise AssertionError("a killed site is still taken to be up")


@pytest.mark.postgres
def test_mark_is_set_again_after_the_server_was_away(other_database, monkeypatch):
    monkeypatch.setattr(marks, "LOOK_EVERY_SECONDS", 0.1)
    with work_in(other_database), in_service():
        with server(other_database) as outside:
            outside.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", [other_database["NAME"]]
            )
        time.sleep(1)
        with pytest.raises(SiteIsUp, match="the site is up"), site_closed():
            pass


@pytest.mark.postgres
def test_command_that_works_in_the_database_is_waited_for(other_database):
    facts = {"host": "HOST", "port": "PORT", "user": "USER", "password": "PASSWORD", "dbname": "NAME"}
    asked = {name: other_database[setting] for name, setting in facts.items()}
    with work_in(other_database), connection.Database.connect(**asked):  # noqa: SIM117
        with pytest.raises(SiteIsUp, match="1 other connections to this database are open"), site_closed():
            pass
