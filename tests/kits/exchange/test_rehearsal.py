"""A preview holds no lock: while it runs, others take stock out of the drawers, and it sees nothing of theirs."""

import os
import re
import threading
import time
from pathlib import Path

import pytest
from django.db import connection, connections, transaction

from kits.catalog.models import Item
from kits.exchange import actions
from kits.exchange.actions import check_files, load_files
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.uploads import rehearsal
from kits.exchange.uploads.outcome import Outcome
from kits.people.models import User
from kits.stock.actions import scrap_stock
from kits.stock.ledger import OnShelf
from kits.stock.models import Balance, Movement
from tests.kits.exchange.books import AT, FIXTURES, SHOP, book_file, load_sheets

LONGEST = 10
COUNTED = {
    **SHOP,
    "Items": [*SHOP["Items"], ["OR-020", "O-ring of the cap", "part", "each", "NBR", 15, None]],
    "Lots": [SHOP["Lots"][0], ["OR-014", "L-1", 9, "A1", "4Q24"], ["OR-020", "L-9", 7, "A1", "4Q25"]],
}


@pytest.fixture
def shop(transactional_db):
    assert load_sheets(SHOP).stored


@pytest.fixture
def halted(monkeypatch):
    """A preview in another thread that stands still where it has stored everything; ``join`` gives what came of it."""
    reached, go_on, came = threading.Event(), threading.Event(), []
    faults_of = actions.shop_and_faults

    def stand_still(today):
        reached.set()
        came.append(go_on.wait(LONGEST))
        return faults_of(today)

    def work():
        try:
            came.append(check_files(files=[book_file(COUNTED)], at=AT))
        finally:
            connections.close_all()

    monkeypatch.setattr(actions, "shop_and_faults", stand_still)
    thread = threading.Thread(target=work)
    thread.start()
    assert reached.wait(LONGEST)

    def join():
        go_on.set()
        thread.join(2 * LONGEST)
        return came

    yield join
    join()


def test_a_clerk_takes_stock_while_a_preview_of_the_same_lot_runs(shop, halted):
    balance = Balance.objects.on_shelf().get(lot__lot="L-1")
    account = OnShelf(balance.lot_id, balance.place_id)
    clerk = User.objects.create_user("clerk")
    scrap_stock(source=account, quantity=2_000_000, reason="nicked", by=clerk, at=AT, key="clerk-1")
    waited, outcome = halted()
    assert waited, "the clerk had to wait until the preview was done"
    assert isinstance(outcome, Outcome)
    assert [sheet.says for sheet in outcome.sheets if sheet.changes_something] == [
        "Items: 1 new, 0 changed, 6 same",
        "Lots: 1 new, 1 changed, 0 same",
    ]
    lots = next(sheet for sheet in outcome.sheets if sheet.sheet == "Lots")
    assert [(one.before, one.after) for row in lots.rows for one in row.changes if one.column == "quantity"] == [
        ("12", "9"),
        ("", "7"),
    ]
    assert Balance.objects.on_shelf().get(lot__lot="L-1").quantity == 10_000_000
    assert not Item.objects.filter(part_number="OR-020").exists()


def test_a_preview_leaves_nothing_behind(shop, tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    before = (Item.objects.count(), Movement.objects.count())
    outcome = check_files(files=[book_file(COUNTED)], at=AT)
    assert outcome.changes_something
    assert (Item.objects.count(), Movement.objects.count()) == before
    assert list(tmp_path.iterdir()) == []
    assert load_sheets(COUNTED).sheets == outcome.sheets


@pytest.mark.skipif("connection.vendor != 'sqlite'", reason="the file is copied for SQLite only")
def test_without_room_for_a_copy_the_preview_is_made_all_the_same(shop, monkeypatch, caplog):
    def refuse(path):
        raise OSError("the disk is full")

    monkeypatch.setattr(rehearsal.sqlite3, "connect", refuse)
    assert check_files(files=[book_file(COUNTED)], at=AT).changes_something
    assert "No room" in caplog.text
    assert Path(str(connection.settings_dict["NAME"])).exists()
    assert not Item.objects.filter(part_number="OR-020").exists()


@pytest.mark.skipif("connection.vendor != 'postgresql'", reason="SQLite's file is copied as a whole")
def test_the_tables_of_the_sheets_are_copied_and_no_others(transactional_db):
    with transaction.atomic(), connection.cursor() as cursor:
        rehearsal.copy_tables({"Schedule", "Orders"})
        cursor.execute("SELECT relname FROM pg_class WHERE relkind = 'r' AND relnamespace = pg_my_temp_schema()")
        copied = {name for (name,) in cursor.fetchall()}
    assert copied == {
        *("catalog_revision", "schedule_batch", "schedule_job"),
        *("purchasing_orderline", "purchasing_promisechange"),
    }


def test_a_load_writes_no_other_tables_than_those_that_a_preview_copies(db):
    """Whatever else it wrote, others would wait for while a long list is looked at."""
    written = set()

    def note(execute, sql, params, many, context):
        if found := re.match(r'(?:INSERT (?:OR \w+ )?INTO|UPDATE|DELETE FROM) "(\w+)"', sql):
            written.add(found[1])
        return execute(sql, params, many, context)

    files = [SheetFile(path.name, path.read_bytes()) for path in sorted(FIXTURES.glob("*.csv"))]
    later = [SheetFile(file.name, file.content.replace(b"2026-03-2", b"2026-04-2")) for file in files]
    bagged = SheetFile("issued.csv", b"job,part_number,lot,quantity,state,place\nJ-3101,CS-34-U,NV-2417,1,bagged,B3\n")
    with connection.execute_wrapper(note):
        first = load_files(files=files, by=None, at=AT)
        second = load_files(files=[file for file in later if file.name in ("orders.csv", "lots.csv")], by=None, at=AT)
        third = load_files(files=[bagged], by=None, at=AT)
    assert first.stored
    assert second.stored, [problem.says for problem in second.problems]
    assert third.stored, [problem.says for problem in third.problems]
    sheets = {change.sheet for change in (*first.sheets, *third.sheets)}
    copied = {model._meta.db_table for model in rehearsal.tables_written(sheets)}
    assert written - copied == {"planning_expectedwear"}, "which is kept when a load is stored, not in a preview"
    assert {"stock_movement", "purchasing_promisechange", "picking_bag"} <= written


@pytest.mark.skipif("connection.vendor != 'sqlite'", reason="the file is copied for SQLite only")
def test_the_copy_that_a_killed_process_left_is_swept_up_by_the_next_preview(shop, tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    left, running, others = (
        tmp_path / name for name in ("rebuild-bench-preview-1", "rebuild-bench-preview-2", "other")
    )
    for folder in (left, running, others):
        folder.mkdir()
        (folder / "records.sqlite3").write_bytes(b"records")
    long_ago = time.time() - 3 * 60 * 60
    for folder in (left, others):
        os.utime(folder, (long_ago, long_ago))
    check_files(files=[book_file(COUNTED)], at=AT)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["other", "rebuild-bench-preview-2"]
