"""Text files that come packed in one archive."""

import io
import zipfile
from datetime import date

import pytest

from kits.exchange.files import text_archive
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.sheet_files import read_sheets
from kits.exchange.records.records import read_records

ITEMS = "part_number,description,kind,stock_unit\nX-1,thing,part,each\n"


def packed(**texts):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in texts.items():
            archive.writestr(name, text)
    return SheetFile("lists.zip", out.getvalue())


def read(file):
    findings = Findings()
    rows = {
        headings.sheet.name: len(read_records(headings, {}, date(2026, 3, 4), findings))
        for headings in read_sheets([file], findings)
    }
    return rows, [problem.says for problem in findings.problems]


def test_each_list_is_read_wherever_in_the_archive_it_lies():
    offers = "part_number,supplier\nX-1,Norrvik Seals\n"
    file = packed(
        **{"items.csv": ITEMS, "from the shop/offers.csv": offers, "__MACOSX/._items.csv": "\0\1", "empty/": ""}
    )
    assert read(file) == ({"Items": 1, "Offers": 1}, [])


def test_what_is_wrong_in_one_is_told_with_its_name():
    _, problems = read(packed(**{"items.csv": ITEMS.replace("part,each", "prt,each"), "drawer.csv": "a,b\n1,2\n"}))
    assert any(says.startswith("lists.zip/items.csv, Items row 2, kind") for says in problems)
    assert any(says.startswith("lists.zip/drawer.csv") and "which list it is" in says for says in problems)


def test_two_lists_of_one_name_are_told_apart_by_their_folders():
    wrong = ITEMS.replace("part,each", "prt,each")
    _, problems = read(packed(**{"west/items.csv": ITEMS, "east/items.csv": wrong}))
    assert any(says.startswith("lists.zip/east/items.csv, Items row 2, kind") for says in problems)


def test_an_archive_with_anything_else_in_it_is_refused():
    assert read(packed(**{"items.csv": ITEMS, "drawing.pdf": "%PDF"}))[1] == [
        "lists.zip: this is not a workbook, although it is packed like one: open it in a spreadsheet program and save "
        "it as an .xlsx workbook, or pack nothing but .csv files."
    ]


@pytest.mark.parametrize(
    ("bound", "value", "says"),
    [
        ("MOST_UNPACKED_BYTES", 2 * len(ITEMS), "would unpack to more than"),
        ("MOST_TEXTS", 2, "holds 3 text files, more than 2"),
    ],
)
def test_an_archive_out_of_bounds_is_refused(monkeypatch, bound, value, says):
    monkeypatch.setattr(text_archive, bound, value)
    rows, (problem,) = read(packed(**{"items.csv": ITEMS, "lots.csv": ITEMS, "offers.csv": ITEMS}))
    assert not rows
    assert says in problem


@pytest.mark.parametrize(
    ("before", "says"),
    [
        (b"", "lists.zip: all.csv inside it is an archive itself: pack nothing but .csv files."),
        (b"a,b\n", "this is not a text file, whatever its name says"),
    ],
)
def test_an_archive_inside_an_archive_is_refused_for_it_may_hold_itself(before, says):
    inner = before + packed(**{"items.csv": ITEMS}).content
    rows, (problem,) = read(packed(**{"all.csv": inner}))
    assert not rows
    assert says in problem


@pytest.mark.parametrize("name", ["", ".", "./"])
def test_an_entry_without_a_name_is_passed_over(name):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("items.csv", ITEMS)
        archive.writestr(zipfile.ZipInfo("?"), "a,b\n")
        archive.infolist()[-1].filename = name
    assert read(SheetFile("lists.zip", out.getvalue())) == ({"Items": 1}, [])
