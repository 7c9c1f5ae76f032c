"""A shop of the first version, with weeks of work in its ledger, comes to this version whole, and counts on."""

import io
import json
import lzma
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection

from kits.exchange.copies.moving import move_to
from kits.exchange.copies.proofs import work_in
from kits.people.models import User
from kits.planning.snapshot.catalog import forget_catalog
from tests.kits.exchange.copies.databases import are_the_same, shape, sqlite_at

SHOP = Path(__file__).with_name("shop_of_0.1.0.sql.xz")
"""Invented work from 4 March 2026 on, by version 0.1.0's ``work_a_year --movements 1200 --jobs-a-week 12``."""
PLAN = Path(__file__).with_name("plan_of_0.1.0.json.xz")
"""What version 0.1.0 answered to ``plan --json --as-of`` the day in it."""


@pytest.fixture
def first_version(tmp_path):
    """The settings of a file of SQLite as version 0.1.0 left it, and its rows by table."""
    path = tmp_path / "shop.sqlite3"
    with closing(sqlite3.connect(path)) as file:
        file.executescript(lzma.decompress(SHOP.read_bytes()).decode())
        tables = [name for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        rows = {name: file.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in tables}
    return sqlite_at(path), rows


def differing(before, after, where="plan"):
    """Where a later answer does not say what the earlier one did; it may say more."""
    if isinstance(before, dict) and isinstance(after, dict):
        gone = [f"{where}.{key} is gone" for key in before.keys() - after.keys()]
        return gone + [
            line
            for key in before.keys() & after.keys()
            for line in differing(before[key], after[key], f"{where}.{key}")
        ]
    if isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        return [
            line
            for place, pair in enumerate(zip(before, after, strict=True))
            for line in differing(*pair, f"{where}[{place}]")
        ]
    return [] if before == after else [f"{where}: {before!r} was told, and now {after!r}"]


@pytest.mark.bare
def test_a_shop_of_the_first_version_is_brought_to_this_one(first_version, tmp_path):
    settings, rows = first_version
    said = json.loads(lzma.decompress(PLAN.read_bytes()))
    with work_in(settings):
        forget_catalog()
        call_command("migrate", verbosity=0)
        call_command("check_ledger")
        with connection.cursor() as cursor:
            for table in ("stock_movement", "stock_posting", "stock_lot", "schedule_job", "picking_pickline"):
                cursor.execute(f'SELECT count(*) FROM "{table}"')
                assert cursor.fetchone()[0] == rows[table] > 0, table
            with pytest.raises(Exception, match="never changed"):
                cursor.execute("UPDATE stock_movement SET quantity = 0")
        told = io.StringIO()
        call_command("plan", as_of=said["as_of"], json=True, stdout=told)
        assert differing(said, json.loads(told.getvalue())) == []
        assert User.objects.get(username="clerk").has_perm("stock.add_posting")
        call_command("migrate", verbosity=0, check_unapplied=True)
        stepped = shape()
    with work_in(sqlite_at(tmp_path / "new.sqlite3")):
        call_command("migrate", verbosity=0)
        are_the_same(stepped, shape())


@pytest.mark.postgres
def test_and_goes_to_a_server_from_there(first_version, empty_shop):
    with work_in(first_version[0]):
        call_command("migrate", verbosity=0)
        move_to(empty_shop, lambda _: None)
    with work_in(empty_shop):
        call_command("check_ledger")
