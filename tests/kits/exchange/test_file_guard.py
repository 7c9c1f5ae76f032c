"""Files that are no workbook, are cut off, locked or hostile are refused before anything of them is kept in memory."""

import io
import zipfile

import pytest

from kits.exchange.actions import check_files
from kits.exchange.files.sheet_file import SheetFile
from tests.kits.exchange.books import AT, SHOP, book_file, check_sheets, items, make_book, only_problem, remarks_of

pytestmark = pytest.mark.django_db
OLD = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


def refusal(name, content):
    return only_problem(check_files(files=[SheetFile(name, content)], at=AT))


def package(**parts):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in parts.items():
            packed.writestr(name.replace("__", "/").replace("_", "."), content)
    return out.getvalue()


def repacked(content, part, change):
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for entry in old.infolist():
            text = old.read(entry)
            new.writestr(entry.filename, change(text) if entry.filename == part else text)
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "content", "reason", "remedy"),
    [
        ("empty.xlsx", b"", "the file is empty", "copy it again"),
        ("old.xls", OLD + b"\0" * 600, "old .xls workbook", "save it as an .xlsx workbook"),
        ("locked.xlsx", OLD + "EncryptedPackage".encode("utf-16-le"), "protected by a password", "without a password"),
        ("photo.xlsx", b"\x89PNG\r\n\x1a\n" + b"\0" * 99, "not a workbook", "save it as an .xlsx workbook"),
        ("list.xlsx", b"part_number,description\n", "not a workbook", ".csv with one sheet"),
        ("bill.csv", b"%PDF-1.7 ...", "not a workbook", ".csv with one sheet"),
        ("letter.xlsx", package(word__document_xml="<w/>"), "packed like one", "save it as an .xlsx"),
        ("sheet.xlsx", package(content_xml="<x/>"), "OpenDocument", "save it as an .xlsx"),
        ("fast.xlsx", package(xl__workbook_bin="x"), ".xlsb", "save it as an .xlsx"),
        ("items.csv", b"part_number\0,\0description", "not a text file", "export the sheet"),
    ],
)
def test_a_file_that_is_no_workbook_is_refused_with_its_remedy(name, content, reason, remedy):
    problem = refusal(name, content)
    assert problem.file == name
    assert reason in problem.reason
    assert remedy in problem.remedy


@pytest.mark.parametrize("kept", [0.3, 0.9, 0.999])
def test_a_workbook_that_is_cut_off_is_refused(kept):
    content = make_book(SHOP)
    assert "cut off or damaged" in refusal("lists.xlsx", content[: int(len(content) * kept)]).reason


def test_a_workbook_with_a_damaged_sheet_is_refused():
    content = repacked(make_book(SHOP), "xl/worksheets/sheet2.xml", lambda text: text[: len(text) // 2])
    assert "damaged" in refusal("lists.xlsx", content).reason


def test_a_workbook_that_would_unpack_to_gigabytes_is_refused_unread():
    content = repacked(make_book(SHOP), "xl/theme/theme1.xml", lambda text: b" " * (301 * 2**20))
    assert len(content) < 2**20
    assert "would unpack to" in refusal("lists.xlsx", content).reason


def test_a_workbook_of_thousands_of_parts_is_refused():
    content = package(**{f"xl__part{number}_xml": "x" for number in range(2001)})
    assert "parts, more than" in refusal("lists.xlsx", content).reason


def test_a_workbook_that_declares_entities_is_refused():
    bomb = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>'
    for part in ("xl/worksheets/sheet1.xml", "xl/workbook.xml", "xl/styles.xml"):
        content = repacked(make_book(SHOP), part, lambda text: bomb + text.split(b"?>", 1)[-1])
        assert "declares entities" in refusal("lists.xlsx", content).reason


def test_a_sheet_that_lies_about_its_size_is_read_to_its_end():
    honest = make_book(items(*[(f"X-{number}", "thing", "part", "each") for number in range(3)]))
    part = "xl/worksheets/sheet1.xml"
    content = repacked(honest, part, lambda text: text.replace(b'<dimension ref="A1:D4"', b'<dimension ref="A1:B2"'))
    assert content != repacked(honest, part, lambda text: text)
    outcome = check_files(files=[SheetFile("lists.xlsx", content)], at=AT)
    assert [sheet.count("new") for sheet in outcome.sheets] == [3]


def test_a_single_cell_in_the_last_corner_costs_nothing():
    def far(book):
        book["Items"]["XFD1048576"] = "x"

    outcome = check_sheets(items(("X-1", "thing", "part", "each")), far)
    assert [sheet.count("new") for sheet in outcome.sheets] == [1]
    assert "columns after GR are not read" in remarks_of(outcome)


def test_every_file_is_named_that_cannot_be_read():
    outcome = check_files(files=[SheetFile("a.xlsx", b""), SheetFile("b.xls", OLD), book_file(SHOP)], at=AT)
    assert [problem.file for problem in outcome.problems] == ["a.xlsx", "b.xls"]


def test_a_sheet_of_another_name_is_said_and_not_read():
    outcome = check_sheets({**items(("X-1", "thing", "part", "each")), "My notes": [["hello"]]})
    assert not outcome.problems
    assert "My notes: it is none of the known lists and was not read" in remarks_of(outcome)
    assert outcome.unknown == ()


def test_a_file_without_any_known_sheet_is_refused():
    problem = only_problem(check_sheets({"Table1": [["a", "b"]], "Table2": [["c"]]}))
    assert problem.value == "Table1, Table2"
    assert "Items" in problem.remedy


def test_a_single_sheet_is_known_by_the_name_of_its_file():
    file = book_file({"Sheet1": items(("X-1", "thing", "part", "each"))["Items"]}, name="items.xlsx")
    assert [sheet.sheet for sheet in check_files(files=[file], at=AT).sheets] == ["Items"]
