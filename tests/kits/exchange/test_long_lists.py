"""Long lists: as many statements as short ones, progress that is told, and nothing of a column's reading mixed up."""

import gc
import re

import pytest
from django.core.management import call_command
from django.db import connection

from kits.catalog.caching import progress
from kits.catalog.caching.progress import Progress, SpacedOut, report, reporting_to
from kits.catalog.models import Item, StructureLine
from kits.exchange import actions
from kits.exchange.actions import check_files, load_files
from kits.exchange.files import sheet_stream
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.files.workbook_reader import read_workbook
from kits.exchange.records.records import SheetRecord
from kits.planning.snapshot.catalog import read_catalog
from tests.keeping import taken_back
from tests.kits.exchange.books import AT, SHOP, book_file, items, make_book, only_problem, remarks_of, text_file
from tests.kits.exchange.reading_alone import read_alone
from tests.kits.exchange.test_file_guard import repacked

LONG = 3000
OFTEN = 200


def long_lists(rows, description="thing"):
    """Items with all that is written of them in bulk, and a structure line for each."""
    numbers = [f"N-{number:05d}" for number in range(rows)]
    return {
        "Items": [
            [*items()["Items"][0], "other_numbers"],
            *[[number, description, "part", "each", f"OTHER-{number}"] for number in numbers],
        ],
        "Structure": [SHOP["Structure"][0], *[["E-1", number, 1, None, "renew", None, "many"] for number in numbers]],
    }


def long_texts(rows, description="thing"):
    """The same as text, which is sooner written and read."""
    return [
        text_file(
            f"{name}.csv", "\n".join(",".join("" if cell is None else str(cell) for cell in row) for row in lines)
        )
        for name, lines in long_lists(rows, description).items()
    ]


@pytest.fixture
def often(monkeypatch):
    """How far it is is told ten times as often, so that short lists tell it too."""
    monkeypatch.setattr(progress, "ROWS_BETWEEN", OFTEN)
    monkeypatch.setattr(sheet_stream, "ROWS_BETWEEN", OFTEN)


def statements_of(function):
    """How many there were; to be shown as well, thousands of values would be written into each."""
    said = []

    def count(execute, sql, *arguments):
        said.append(sql)
        return execute(sql, *arguments)

    with connection.execute_wrapper(count):
        assert not function().problems
    return len(said)


def test_three_thousand_rows_take_as_many_statements_as_three_hundred(shop):
    counts = {}
    for rows in (300, LONG):
        with taken_back():
            for change in ("new", "same", "changed"):
                files = long_texts(rows, "thing" if change != "changed" else "another thing")
                counts[rows, change] = statements_of(lambda files=files: load_files(files=files, by=None, at=AT))
            assert StructureLine.objects.filter(position="many").count() == rows
            assert Item.objects.filter(description="another thing").count() == rows
    assert {change: counts[LONG, change] - counts[300, change] for change in ("new", "same", "changed")} == {
        "new": 0,
        "same": 0,
        "changed": 0,
    }


@pytest.mark.postgres
def test_a_load_tells_the_database_how_long_its_tables_have_become(shop):
    """Of a table that it last saw empty PostgreSQL expects one row, and joins three of them in hours."""

    def believed():
        with connection.cursor() as cursor:
            cursor.execute("SELECT reltuples FROM pg_class WHERE relname = 'catalog_structureline'")
            return cursor.fetchone()[0]

    load_files(files=long_texts(LONG), by=None, at=AT)
    StructureLine.objects.all().delete()
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE catalog_structureline")
    assert believed() == 0
    load_files(files=long_texts(LONG), by=None, at=AT)
    assert believed() >= LONG


def test_a_hundred_thousand_rows_are_read_to_the_last_and_a_trap_among_them_is_told_with_its_row():
    rows = [f"N-{number:06d},thing,part,each" for number in range(100_000)]
    rows[-1] = "N-099999,thing,part,bag"
    count, problems, _ = read_alone("\n".join(["part_number,description,kind,stock_unit", *rows]).encode(), "items.csv")
    assert count == 100_000
    assert [says.partition(":")[0] for says in problems] == ['items.csv, Items row 100001, stock_unit "bag"']


def test_progress_counts_the_rows_of_each_step(shop, often):
    heard, rows = [], OFTEN + 100
    with reporting_to(heard.append):
        check_files(files=[book_file(long_lists(rows))], at=AT)
    assert Progress("Opening Items", OFTEN) in heard
    assert Progress("Reading Structure", OFTEN, rows) in heard
    assert Progress("Checking rows", 2 * OFTEN, 2 * rows) in heard
    assert Progress("Comparing Items with what is stored", 0, rows) in heard
    report("after it, nobody listens")
    assert heard[-1].step == "Checking the whole shop as it would be"


def test_progress_is_said_in_words_and_not_too_often(monkeypatch):
    said, now = [], iter([0, 1, 4, 5, 8])
    monkeypatch.setattr("kits.catalog.caching.progress.time.monotonic", lambda: next(now))
    with reporting_to(SpacedOut(said.append, 3.0)):
        for done in (0, 2000, 4000, 6000):
            report("Reading Items", done, 100_000)
    assert said == ["Reading Items: 2 000 of 100 000 rows", "Reading Items: 6 000 of 100 000 rows"]


def test_the_command_says_on_its_error_stream_how_far_it_is(shop, often, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("kits.exchange.management.commands.load.SECONDS_BETWEEN", 0.0)
    path = tmp_path / "lists.xlsx"
    path.write_bytes(make_book(long_lists(OFTEN + 100)))
    call_command("load", str(path), "--check")
    shown = capsys.readouterr()
    assert "Checking rows: 400 of 600 rows" in shown.err
    assert "Checking rows" not in shown.out


def test_equal_values_of_different_types_are_not_read_alike(shop):
    # 1, 1.0 and TRUE are equal to the machine.
    rows = [["part_number", "description", "kind", "stock_unit", "lead_time"]]
    rows += [["X-1", "thing", "part", "each", 1], ["X-2", "thing", "part", "each", 1.0]]
    outcome = check_files(files=[book_file({"Items": [*rows, ["X-3", "thing", "part", "each", True]]})], at=AT)
    assert (only_problem(outcome).row, only_problem(outcome).column) == (4, "lead_time")


def test_what_is_remembered_of_a_column_is_remarked_at_every_row(shop):
    rows = items(*[(f"X-{number}", "thing", "part ", "each") for number in range(3)])
    assert "Items rows 2, 3, 4, kind: spaces at the ends were left out" in remarks_of(
        check_files(files=[book_file(rows)], at=AT)
    )


@pytest.mark.parametrize("prefix", ["", "x:"])
def test_a_workbook_whose_elements_carry_a_prefix_is_read(shop, prefix):
    content = make_book(items(("X-1", "thing", "part", "each")))
    for part in ("xl/workbook.xml", "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml", "xl/styles.xml"):
        content = repacked(content, part, lambda text: prefixed(text, prefix))
    outcome = check_files(files=[SheetFile("lists.xlsx", content)], at=AT)
    assert [row.key for sheet in outcome.sheets for row in sheet.rows] == ["X-1"]


def prefixed(text, prefix):
    """The same elements, each with a prefix, as some programs write them."""
    if not prefix:
        return text
    mark = prefix.encode()
    text = re.sub(rb"<(/?)([A-Za-z])", lambda found: b"<" + found[1] + mark + found[2], text)
    return text.replace(b" xmlns=", b" xmlns:" + mark.rstrip(b":") + b"=", 1)


def test_the_rows_of_the_file_are_let_go_before_the_whole_shop_is_checked(shop, monkeypatch):
    held, faults_of = [], actions.shop_and_faults

    def count_records(today):
        held.append(sum(type(one) is SheetRecord for one in gc.get_objects()))
        return faults_of(today)

    monkeypatch.setattr(actions, "shop_and_faults", count_records)
    gc.collect()  # what other tests left
    outcome = check_files(files=[book_file(long_lists(300))], at=AT)
    assert held == [0]
    assert [sheet.count("new") for sheet in outcome.sheets] == [300, 300]


def test_a_fault_of_the_whole_shop_is_tied_to_its_row_although_the_rows_were_let_go(shop):
    lists = long_lists(300)
    lists["Structure"] = [*lists["Structure"], ["E-1", "P-1", 1, None, "open", None, "back again"]]
    problem = check_files(files=[book_file(lists)], at=AT).problems[0]
    assert "circle" in problem.reason
    assert (problem.sheet, problem.row) == ("Structure", 302)


def test_new_rows_beyond_those_that_are_told_are_only_counted(shop, monkeypatch):
    monkeypatch.setattr("kits.exchange.sheets.stores.table_store.MOST_KEPT", 20)
    items_of = check_files(files=[book_file(long_lists(300))], at=AT).sheets[0]
    assert items_of.count("new") == 300
    assert [row.key for row in items_of.rows[:20]] == [f"N-{number:05d}" for number in range(20)]
    assert {(row.row, row.key) for row in items_of.rows[20:]} == {(0, "")}


def test_the_same_text_in_many_cells_is_kept_once(shop):
    sheets = read_workbook(make_book(long_lists(300)), "lists.xlsx")
    rows = [row.values for sheet in sheets for row in sheet.rows[1:]]
    for place, text in ((2, "part"), (3, "each"), (0, "E-1")):
        assert len({id(row[place]) for row in rows if row[place] == text}) == 1
    assert len({id(value) for row in rows for value in row if value == "N-00007"}) == 1


def test_the_catalog_names_an_item_by_one_text_however_many_lines_hold_it(shop):
    load_files(files=[book_file(long_lists(300))], by=None, at=AT)
    catalog = read_catalog("", "EUR")
    number = next(item.part_number for item in catalog.items if item.part_number == "E-1")
    lines = [line for line in catalog.lines if line.parent == "E-1"]
    assert len(lines) > 300
    assert all(line.parent is number for line in lines)
