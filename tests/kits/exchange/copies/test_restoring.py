"""A copy that is restored holds what was copied, to the byte; whatever is wrong with it changes nothing."""

import json
import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from kits.exchange.copies import restoring
from kits.exchange.copies.backups import back_up, back_up_into, receipt_of, write_receipt
from kits.exchange.copies.in_service import in_service
from kits.exchange.copies.proofs import differences, read_contents, work_in
from kits.exchange.copies.refusals import CopyRefused
from kits.people.models import User
from kits.service.models import Photo
from kits.stock.models import Certificate, Movement, Place
from tests.kits.exchange.copies.databases import sqlite_at

TOP = Path(__file__).parents[4]
AT = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
on_sqlite = pytest.mark.skipif("connection.vendor != 'sqlite'", reason="SQLite keeps a write-ahead log of its own")


@pytest.fixture
def copy(copied_once, tmp_path):
    folder = shutil.copytree(copied_once, tmp_path / "copied")
    return folder / "copy"


def attachments():
    return [
        sorted(bytes(content) for content in model.objects.values_list("content", flat=True))
        for model in (Photo, Certificate)
    ]


def test_restored_shop_is_the_same_with_its_photos_certificates_movements_and_people(copy, shop_once, other_database):
    with work_in(shop_once):
        before, files = read_contents(), attachments()
    assert all(files)
    with work_in(other_database):
        says = restoring.restore(copy, AT, replace=False)
        after = read_contents()
        assert attachments() == files
        assert Movement.objects.exists()
        assert User.objects.filter(username="clerk").exists()
        last = Place.objects.order_by("pk").last().pk
        assert Place.objects.create(place="NEW", folded="new").pk > last
    assert (differences(before, after), before) == ([], after)
    assert "every balance is the sum of its movements; the same as when it was written" in says


def test_copy_is_put_over_a_shop_only_when_it_is_said_and_the_old_one_is_kept(copy, empty_shop, tmp_path):
    with work_in(empty_shop):
        Place.objects.create(place="OLD", folded="old")
        with pytest.raises(CopyRefused, match=r"holds 1 row already: add --replace"):
            restoring.restore(copy, AT, replace=False)
        assert Place.objects.filter(place="OLD").exists()
        says = restoring.restore(copy, AT, replace=True)
        assert not Place.objects.filter(place="OLD").exists()
        kept = Path(re.search(r"kept as (\S+)\.$", says)[1])
        restoring.restore(kept, AT + timedelta(seconds=1), replace=True)
        assert list(Place.objects.values_list("place", flat=True)) == ["OLD"]


def test_nothing_is_restored_while_the_site_is_up(copy, empty_shop):
    with work_in(empty_shop):
        with in_service(), pytest.raises(CommandError, match="the site is up on this database: stop every web process"):
            call_command("restore", str(copy))
        assert not Place.objects.exists()
        call_command("restore", str(copy))
        assert Place.objects.exists()


def test_damaged_copy_is_refused_before_anything_is_touched(copy, empty_shop):
    content = bytearray(copy.read_bytes())
    content[len(content) // 2] ^= 1
    copy.write_bytes(content)
    with work_in(empty_shop):
        Place.objects.create(place="OLD", folded="old")
        with pytest.raises(CopyRefused, match="it is damaged or changed"):
            restoring.restore(copy, AT, replace=True)
        assert Place.objects.filter(place="OLD").exists()


def test_copy_that_holds_something_else_than_was_written_down_is_told(copy, other_database):
    receipt = receipt_of(copy)
    facts = json.loads(receipt.read_text())
    facts["rows"]["stock_movement"] += 1
    receipt.write_text(json.dumps(facts))
    with work_in(other_database):
        with pytest.raises(CopyRefused, match=r"Rows of stock_movement: \d+, not \d+\."):
            restoring.restore(copy, AT, replace=False)
        if connection.vendor == "sqlite":
            assert restoring.rows_of_a_shop() == 0


def test_another_plan_is_told(copy, other_database):
    receipt = receipt_of(copy)
    receipt.write_text(receipt.read_text().replace('"plan": "', '"plan": "0'))
    with work_in(other_database), pytest.raises(CopyRefused, match="The plan is not the same"):
        restoring.restore(copy, AT, replace=False)


def test_copy_without_what_it_held_is_proved_by_itself(copy, other_database):
    receipt_of(copy).unlink()
    with work_in(other_database):
        assert "nothing beside it says what it held" in restoring.restore(copy, AT, replace=False)
        assert Place.objects.exists()


def test_copy_of_a_newer_version_is_refused(whole_shop, tmp_path, other_database):
    from django.db.migrations.recorder import MigrationRecorder

    step = MigrationRecorder.Migration.objects.create(app="stock", name="9999_of_tomorrow")
    copy = tmp_path / "copy"
    back_up(copy)
    step.delete()
    with work_in(other_database):
        with pytest.raises(CopyRefused, match=r"a newer version.*stock\.9999_of_tomorrow"):
            restoring.restore(copy, AT, replace=False)
        assert restoring.rows_of_a_shop() == 0


def test_copy_of_an_older_version_is_brought_up_to_this_one(whole_shop, tmp_path, other_database):
    movements = Movement.objects.count()
    call_command("migrate", "planning", "0001", verbosity=0)
    older = _backed_up_as_it_is(tmp_path / "older")
    with work_in(other_database):
        restoring.restore(older, AT, replace=False)
        assert Movement.objects.count() == movements
        call_command("migrate", check_unapplied=True, verbosity=0)


def _backed_up_as_it_is(path):
    """A copy whose receipt cannot be made by this version: what the older one wrote down is not known here."""
    if connection.vendor == "sqlite":
        sqlite3.connect(path).close()
        with sqlite3.connect(path) as copy:
            connection.ensure_connection()
            connection.connection.backup(copy)
    else:
        from kits.exchange.copies import postgresql

        options = ["--format=custom", "--no-owner", f"--file={path}"]
        postgresql.run(["pg_dump", *options, connection.settings_dict["NAME"]])
    return path


def test_other_files_and_copies_of_the_other_kind_are_refused(tmp_path):
    other = tmp_path / "list.csv"
    other.write_text("part_number,lot\n")
    with pytest.raises(CopyRefused, match="is no copy of a database"):
        restoring.restore(other, AT, replace=False)
    with pytest.raises(CopyRefused, match="cannot be read"):
        restoring.restore(tmp_path / "none", AT, replace=False)
    other.write_bytes(b"PGDMP..........." if connection.vendor == "sqlite" else b"SQLite format 3\x00")
    with pytest.raises(CopyRefused, match=r"DATABASE_URL names .*give manage\.py move_to the other address"):
        restoring.restore(other, AT, replace=False)


def test_of_dated_copies_the_newest_stay_and_nothing_else_in_the_folder_is_touched(whole_shop, tmp_path):
    folder = tmp_path / "copies"
    folder.mkdir()
    (folder / "letter.txt").write_text("mine")
    (folder / "rebuild-bench-2020-01-01.sqlite3").write_text("named by hand")
    for day in range(4):
        says = back_up_into(folder, AT + timedelta(days=day), keep=2)
    assert says.endswith("Removed 1 older.")
    ending = "sqlite3" if connection.vendor == "sqlite" else "dump"
    dated = {f"rebuild-bench-2026-03-0{day}T093000.{ending}" for day in (6, 7)}
    assert {path.name for path in folder.iterdir()} == dated | {f"{name}.holds.json" for name in dated} | {
        "letter.txt",
        "rebuild-bench-2020-01-01.sqlite3",
    }


def test_keeping_asks_for_a_folder_and_for_one_at_least(whole_shop, tmp_path):
    with pytest.raises(CommandError, match="--keep counts the copies of a folder"):
        call_command("backup", str(tmp_path / "copy"), keep=3)
    with pytest.raises(CommandError, match="0 copies cannot be kept"):
        call_command("backup", str(tmp_path), keep=0)
    assert not list(tmp_path.glob("rebuild-bench*"))


WRITES_AND_IS_KILLED = """
import os, signal, django
django.setup()
from django.db import connection
from kits.stock.models import Place
connection.ensure_connection()
connection.connection.execute("PRAGMA wal_autocheckpoint=0")
for number in range(50):
    Place.objects.create(place=f"LATE {number}", folded=f"late {number}")
os.kill(os.getpid(), signal.SIGKILL)
"""


def write_and_be_killed(database):
    """A process stores fifty places and is killed, so that they lie in its write-ahead log and nowhere else."""
    around = {**os.environ, "DATABASE_URL": f"sqlite:///{database['NAME']}", "DJANGO_SETTINGS_MODULE": "kits.settings"}
    ended = subprocess.run([sys.executable, "-c", WRITES_AND_IS_KILLED], cwd=TOP, env=around, check=False)
    assert ended.returncode == -signal.SIGKILL
    log = Path(f"{database['NAME']}-wal")
    assert log.stat().st_size > 50 * 1000
    return log


@on_sqlite
def test_drill_copy_takes_in_the_log_that_a_killed_process_left(copy, tmp_path, other_database):
    with work_in(other_database):
        restoring.restore(copy, AT, replace=False)
    write_and_be_killed(other_database)
    with work_in(other_database):
        back_up(tmp_path / "after the kill")
    with work_in(sqlite_at(tmp_path / "third.sqlite3")):
        restoring.restore(tmp_path / "after the kill", AT, replace=False)
        assert Place.objects.filter(place__startswith="LATE").count() == 50


@on_sqlite
def test_drill_the_log_that_was_left_never_meets_the_copy_that_is_restored(copy, other_database):
    with work_in(other_database):
        restoring.restore(copy, AT, replace=False)
    log = write_and_be_killed(other_database)
    with work_in(other_database):
        says = restoring.restore(copy, AT, replace=True)
        assert not log.exists() or log.stat().st_size == 0
        assert not Place.objects.filter(place__startswith="LATE").exists()
        call_command("check_ledger")
    kept = re.search(r"kept as (\S+)\.$", says)[1]
    with work_in(sqlite_at(kept)):
        assert Place.objects.filter(place__startswith="LATE").count() == 50


@on_sqlite
def test_drill_database_of_a_dead_machine_is_restored_with_its_log(copy, tmp_path, other_database):
    with work_in(other_database):
        restoring.restore(copy, AT, replace=False)
    write_and_be_killed(other_database)
    saved = tmp_path / "saved"
    saved.mkdir()
    for more in ("", "-wal"):
        shutil.copy(f"{other_database['NAME']}{more}", saved / f"db.sqlite3{more}")
    with work_in(sqlite_at(tmp_path / "third.sqlite3")):
        restoring.restore(saved / "db.sqlite3", AT, replace=False)
        assert Place.objects.filter(place__startswith="LATE").count() == 50


@on_sqlite
def test_database_that_cannot_be_read_any_more_is_put_aside(copy, other_database):
    Path(other_database["NAME"]).write_bytes(b"not a database" * 1000)
    with work_in(other_database):
        with pytest.raises(CommandError, match=r"cannot be read \(.*add --replace"):
            call_command("restore", str(copy))
        call_command("restore", str(copy), replace=True)
        assert Place.objects.exists()


def test_balances_that_are_wrong_are_told_when_they_are_copied(whole_shop, tmp_path):
    from kits.stock.models import Balance

    balance = Balance.objects.filter(quantity__gt=0).first()
    Balance.objects.filter(pk=balance.pk).update(quantity=balance.quantity + 1)
    assert "not the sum of its movements: 1 balance, run check_ledger" in back_up(tmp_path / "copy")
    write_receipt(tmp_path / "copy", read_contents())
