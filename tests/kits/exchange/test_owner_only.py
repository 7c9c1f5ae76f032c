"""What the commands write holds certificates, customers and prices: nobody but its owner reads it."""

import os
import shutil
import stat
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connection

from kits.settings import keep_local_key
from tests.kits.exchange.books import SHOP, load_sheets

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(os.name == "nt", reason="Windows has other rights"),
]


@pytest.fixture(autouse=True)
def open_handed():
    """A person whose files everybody may read."""
    before = os.umask(0)
    yield
    os.umask(before)


def mode(path):
    return oct(stat.S_IMODE(path.stat().st_mode))


@pytest.mark.skipif(
    "postgresql" in settings.DATABASES["default"]["ENGINE"] and not shutil.which("pg_dump"),
    reason="pg_dump is not installed",
)
def test_backup_is_read_by_its_owner_only_and_writes_over_nothing(tmp_path):
    assert load_sheets(SHOP).stored
    copy = tmp_path / "copy"
    call_command("backup", str(copy))
    assert (mode(copy), copy.stat().st_size > 1000) == ("0o600", True)
    before = copy.read_bytes()
    with pytest.raises(CommandError, match="exists already"):
        call_command("backup", str(copy))
    assert copy.read_bytes() == before
    with pytest.raises(CommandError, match="there is no folder"):
        call_command("backup", str(tmp_path / "nowhere" / "copy"))


@pytest.mark.parametrize(
    ("command", "arguments"),
    [("dump", ["lists.xlsx"]), ("dump", ["lists.zip"]), ("plan", ["--as-of", "2026-03-04", "--out", "lists.xlsx"])],
)
def test_written_lists_and_workbooks_are_read_by_their_owner_only(tmp_path, monkeypatch, command, arguments):
    assert load_sheets(SHOP).stored
    monkeypatch.chdir(tmp_path)
    call_command(command, *arguments)
    assert [mode(path) for path in tmp_path.iterdir()] == ["0o600"]


def test_kept_key_is_taken_back_from_others(tmp_path):
    path = tmp_path / ".secret_key"
    key = keep_local_key(path)
    assert mode(path) == "0o600"
    path.chmod(0o644)
    assert keep_local_key(path) == key
    assert mode(path) == "0o600"


@pytest.mark.skipif("connection.vendor != 'sqlite'", reason="the database is a file on SQLite only")
def test_database_that_is_a_file_is_taken_back_from_others_with_what_lies_beside_it():
    name = str(connection.settings_dict["NAME"])
    connection.ensure_connection()
    files = [path for path in (Path(name), Path(f"{name}-wal"), Path(f"{name}-shm")) if path.exists()]
    for path in files:
        path.chmod(0o664)
    connection.close()
    connection.ensure_connection()
    assert {mode(path) for path in files if path.exists()} == {"0o600"}
