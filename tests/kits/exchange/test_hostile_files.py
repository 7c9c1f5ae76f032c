"""Whatever a file holds, it is read cleanly or refused with a sentence: no trace, no hang, no memory without bound.

Bytes drawn at random, workbooks changed at random inside, and workbooks made to do harm. The last are read in a process
of their own, whose memory and time the system limits.
"""

# ruff: noqa: E501 - lists of what is bent are easier to read in long lines
import io
import signal
import sys
import zipfile
from contextlib import contextmanager

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kits.exchange.files.sheet_stream import LONGEST_TEXT, MOST_CELLS, MOST_MERGED, MOST_ROWS
from tests.kits.exchange.books import SHOP, make_book
from tests.kits.exchange.reading_alone import read_alone
from tests.kits.exchange.test_file_guard import repacked
from tests.shared_texts import share_texts

pytestmark = pytest.mark.bare
MEMORY = 1100 * 2**20
SECONDS = 90
FEWER = 1_000_000
"""Cells of a sheet for which nobody wants to wait in a test: the bound is lowered to it."""
BOOK = share_texts(make_book(SHOP))
PARTS = [
    name
    for name in zipfile.ZipFile(io.BytesIO(BOOK)).namelist()
    if name.endswith((".xml", ".rels")) and "docProps" not in name
]
SHEET = "xl/worksheets/sheet2.xml"  # Items
HEAD = b'<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
TAIL = b"</sheetData></worksheet>"


@contextmanager
def at_most(seconds):
    """Fail instead of hanging; where the system has no alarm, the run as a whole is limited."""

    def strike(*_):
        raise AssertionError(f"it took more than {seconds} seconds")

    if not hasattr(signal, "SIGALRM"):
        yield
        return
    before = signal.signal(signal.SIGALRM, strike)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def read_in_peace(content, name="lists.xlsx", *, with_remarks=False):
    """Read a file; what is wrong with it must be said in whole sentences."""
    with at_most(20):
        rows, problems, remarks = read_alone(content, name)
    for says in [*problems, *remarks]:
        assert says.endswith("."), says
        assert "Traceback" not in says, says
        assert "Error(" not in says, says
    return rows, [*problems, *remarks] if with_remarks else problems


@given(
    content=st.binary(max_size=3000), name=st.sampled_from(["items.csv", "lists.xlsx", "lots.txt", "x", "Items.XLS"])
)
@settings(max_examples=300, deadline=None)
def test_random_bytes_are_read_or_refused_with_a_sentence(content, name):
    rows, told = read_in_peace(content, name, with_remarks=True)
    assert told or rows


@given(
    content=st.binary(max_size=3000),
    start=st.sampled_from([b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", BOOK[:200]]),
)
@settings(max_examples=200, deadline=None)
def test_random_bytes_behind_the_mark_of_a_workbook_are_refused_with_a_sentence(content, start):
    rows, problems = read_in_peace(start + content)
    assert rows == 0
    assert problems


@given(text=st.text(alphabet="part_number,;\t\"'\n\r|0123456789.-=+@ abc\u00a0\u200b\ufeff", max_size=400))
@settings(max_examples=200, deadline=None)
def test_random_text_is_read_or_refused_with_a_sentence(text):
    read_in_peace(("part_number,description,kind,stock_unit\n" + text).encode(), "items.csv")


@given(kept=st.integers(0, len(BOOK) - 1))
@settings(max_examples=100, deadline=None)
def test_a_workbook_cut_off_anywhere_is_refused(kept):
    rows, problems = read_in_peace(BOOK[:kept])
    assert rows == 0
    assert problems


@given(places=st.lists(st.tuples(st.integers(0, len(BOOK) - 1), st.integers(0, 255)), min_size=1, max_size=8))
@settings(max_examples=200, deadline=None)
def test_a_workbook_with_bytes_changed_outside_is_read_or_refused(places):
    content = bytearray(BOOK)
    for place, value in places:
        content[place] = value
    read_in_peace(bytes(content))


@given(
    part=st.sampled_from(PARTS),
    places=st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), min_size=1, max_size=6),
)
@settings(max_examples=300, deadline=None)
def test_a_workbook_with_bytes_changed_inside_a_part_is_read_or_refused(part, places):
    def change(text):
        changed = bytearray(text)
        for place, value in places:
            changed[int(place * len(changed))] = value
        return bytes(changed)

    read_in_peace(repacked(BOOK, part, change))


WORDS = [b'r="', b's="', b't="', b'"s"', b'"n"', b"<v>", b"</v>", b"<c ", b"</c>", b"<row ", b"</row>", b"<f>", b'count="',
         b'Id="', b'numFmtId="', b'name="', b"<t>", b"</t>", b"<si>", b'ref="', b"1", b"A", b"<is>"]  # fmt: skip
INSTEAD = [b"", b"-1", b"99999999999999999999", b"1e400", b"NaN", b'"b"', b'"e"', b'"d"', b'"str"', b'"inlineStr"', b"XFE1",
           b"<v>9</v>", b"<f>1+1</f>", b"<rPh>", b"</rPh>", b"&amp;", b"\xff", b"<!-- -->", b"<![CDATA[x]]>", b"0x10", b"1.5",
           b"<c/>", b"<row/>", b"<is><t>x</t></is>", b"\xd9\xa1"]  # fmt: skip


@given(
    part=st.sampled_from(PARTS),
    changes=st.lists(
        st.tuples(st.sampled_from(WORDS), st.sampled_from(INSTEAD), st.integers(0, 40)), min_size=1, max_size=5
    ),
)
@settings(max_examples=300, deadline=None)
def test_a_workbook_whose_xml_was_bent_is_read_or_refused(part, changes):
    def change(text):
        for word, instead, which in changes:
            pieces = text.split(word)
            at = which % len(pieces)
            if at > 0:
                text = word.join(pieces[:at]) + instead + word.join(pieces[at:])
        return text

    read_in_peace(repacked(BOOK, part, change))


@given(part=st.sampled_from(PARTS))
@settings(max_examples=30, deadline=None)
def test_a_workbook_that_lacks_a_part_is_read_or_refused(part):
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(BOOK)) as old, zipfile.ZipFile(out, "w") as new:
        for entry in old.infolist():
            if entry.filename != part:
                new.writestr(entry, old.read(entry))
    read_in_peace(out.getvalue())


def sheet_of(*pieces):
    """The workbook with another sheet Items, made of these pieces; a number repeats the one before."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(BOOK)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for entry in old.infolist():
            if entry.filename != SHEET:
                new.writestr(entry.filename, old.read(entry))
        with new.open(SHEET, "w", force_zip64=False) as part:
            for piece in pieces:
                text, times = piece if isinstance(piece, tuple) else (piece, 1)
                while times > 0:
                    some = min(times, 20_000)
                    part.write(text * some)
                    times -= some
    return out.getvalue()


def text_cell(place, text):
    return b'<c r="%s" t="inlineStr"><is><t>%s</t></is></c>' % (place.encode(), text.encode())


def headings_row(width=4):
    words = ["part_number", "description", "kind", "stock_unit"]
    cells = b"".join(text_cell(f"{'ABCD'[number]}1", word) for number, word in enumerate(words[:width]))
    return b'<row r="1">' + cells + b"</row>"


ROW = (
    b"<row>"
    + text_cell("A1", "X-1")
    + text_cell("B1", "thing")
    + text_cell("C1", "part")
    + text_cell("D1", "each")
    + b"</row>"
)
NUMBERS = b"<row>" + b"<c><v>1</v></c>" * 190 + b"</row>"
SHARED = (
    b'<?xml version="1.0"?><sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><si><t>'
    + b"x" * 32_000
    + b"</t></si>"
    + b"<si><t>what the other sheets share</t></si>" * 1_000
    + b"</sst>"
)
OF_SHARED = b"<row>" + b'<c t="s"><v>0</v></c>' * 28 + b"</row>"
FAR = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
BOMBS = {
    "a sheet of 280 MB of blanks": (lambda: sheet_of(HEAD, (b" " * 1000, 280_000), TAIL), 0, "no row of headings|empty"),
    "three million empty rows": (lambda: sheet_of(HEAD, headings_row(), (b"<row/>", 3_000_000), TAIL), 0, ""),
    "a million rows": (lambda: sheet_of(HEAD, headings_row(), (ROW, 900_000), TAIL), 0, f"more than {MOST_ROWS}"),
    "rows of numbers without end": (lambda: sheet_of(HEAD, headings_row(), (NUMBERS, 20_000), TAIL), 0, f"more than {FEWER} cells"),
    "one text of 250 MB": (
        lambda: sheet_of(HEAD, headings_row(), b'<row r="2"><c r="A2" t="inlineStr"><is><t>', (b"x" * 1000, 250_000),
                         b"</t></is></c></row>", TAIL), 1, "more than a cell can hold"),
    "one long text in a million cells": (
        lambda: repacked(sheet_of(HEAD, headings_row(), (OF_SHARED, 40_000), TAIL), "xl/sharedStrings.xml",
                         lambda _: SHARED), None, "characters"),
    "a hundred thousand merged areas": (
        lambda: sheet_of(HEAD, headings_row(), b"</sheetData><mergeCells>", (b'<mergeCell ref="A2:D2"/>', 100_000),
                         b"</mergeCells></worksheet>"), 0, f"more than {MOST_MERGED} merged"),
    "ten thousand columns": (
        lambda: sheet_of(HEAD, headings_row(), ROW, b"<row>", (b"<c><v>1</v></c>", 10_000), b"</row>", TAIL), 1, ""),
    "one cell in the last corner": (lambda: sheet_of(HEAD, headings_row(), FAR, TAIL), 0, ""),
    "elements nested a million deep": (
        lambda: sheet_of(HEAD, (b"<row>", 1_000_000), TAIL), 0, "damaged"),
    "a million attributes": (
        lambda: sheet_of(HEAD, b"<row ", *((f'a{number}="1" '.encode(), 1) for number in range(300_000)), b"/>", TAIL), 0, ""),
    "a workbook of two thousand sheets": (
        lambda: repacked(BOOK, "xl/workbook.xml", lambda text: text.replace(
            b"<sheets>", b"<sheets>" + b'<sheet name="a" sheetId="9" r:id="rId1"/>' * 2000)), 0, "more than 500 sheets"),
    "a million formats": (
        lambda: repacked(BOOK, "xl/styles.xml", lambda text: text.replace(
            b"<cellXfs", b"<cellXfs>" + b'<xf numFmtId="0"/>' * 1_000_000 + b"</cellXfs><cellXfs", 1)), 0, "formats"),
}  # fmt: skip


@pytest.mark.skipif(sys.platform == "win32", reason="the system cannot limit the memory of a process")
@pytest.mark.parametrize("name", BOMBS)
def test_a_workbook_made_to_do_harm_stays_within_its_bounds(name, tmp_path):
    from tests.kits.exchange.reading_within import read_within

    make, rows, says = BOMBS[name]
    path = tmp_path / "lists.xlsx"
    path.write_bytes(make())
    assert path.stat().st_size < 20 * 2**20
    cells = FEWER if str(FEWER) in says else MOST_CELLS
    read, problems, count, remarks = read_within(path, memory=MEMORY, seconds=SECONDS, cells=cells)
    assert rows is None or read >= rows
    told = " ".join([*problems, *remarks])
    assert any(word in told for word in says.split("|")), told
    assert count <= 10_001


def test_a_text_longer_than_a_cell_is_refused_where_it_stands():
    content = sheet_of(HEAD, headings_row(), b"<row>" + text_cell("A2", "x" * (LONGEST_TEXT + 1)) + b"</row>", TAIL)
    assert any(
        "Items row 2, part_number" in says and "more than a cell can hold" in says for says in read_in_peace(content)[1]
    )


@pytest.mark.parametrize(
    "declared",
    [
        b'<!DOCTYPE x SYSTEM "file:///etc/passwd">',
        b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>',
        b'<!DOCTYPE x [<!ENTITY % p SYSTEM "http://127.0.0.1/x"> %p;]>',
        b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>',
    ],
)
@pytest.mark.parametrize("part", [SHEET, "xl/workbook.xml", "xl/sharedStrings.xml", "xl/_rels/workbook.xml.rels"])
def test_no_part_may_declare_entities(part, declared):
    content = repacked(BOOK, part, lambda text: b'<?xml version="1.0"?>' + declared + text.split(b"?>", 1)[-1])
    assert any("declares entities" in says for says in read_in_peace(content)[1])


def test_a_sheet_in_a_part_of_another_ending_may_not_declare_entities_either():
    moved = repacked(BOOK, "xl/_rels/workbook.xml.rels", lambda text: text.replace(b"sheet2.xml", b"sheet2.dat"))
    bomb = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa">]>'
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(moved)) as old, zipfile.ZipFile(out, "w") as new:
        for entry in old.infolist():
            text = old.read(entry)
            if entry.filename == SHEET:
                new.writestr("xl/worksheets/sheet2.dat", bomb + text.split(b"?>", 1)[-1])
            else:
                new.writestr(entry.filename, text)
    assert any("declares entities" in says for says in read_in_peace(out.getvalue())[1])
