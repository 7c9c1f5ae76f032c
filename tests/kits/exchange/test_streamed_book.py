"""Rows written beside the library come back through it as they went: texts, days, numbers and formulas with results."""

import io
from datetime import date, datetime
from decimal import Decimal

import openpyxl
import pytest

from kits.exchange.workbooks.report_sheet import MONEY, ReportSheet, Result, Spot
from kits.exchange.workbooks.sheet_writer import write_list
from kits.exchange.workbooks.streamed_book import GENERAL, StreamedBook

TEXTS = ["0012", "=1+1", "a < b & c > d", ' "quoted" ', "  indented", "two\nlines", "&amp;", "±½ 日本", "3E10", "'"]
NUMBERS = [0, -3, 12345678901, Decimal("0.000001"), Decimal("1234567.000001"), Decimal("12.50"), 0.1]


def reopened(rows):
    book = StreamedBook()
    write_list(book, "List", ["a"], [GENERAL], [[one] for one in rows])
    sheet = openpyxl.load_workbook(io.BytesIO(book.content()))["List"]
    return [sheet.cell(row, 1) for row in range(2, len(rows) + 2)]


def test_texts_come_back_as_the_texts_they_were():
    cells = reopened(TEXTS)
    assert [cell.value for cell in cells] == TEXTS
    assert {(cell.data_type, cell.number_format) for cell in cells} == {("s", "@")}


def test_numbers_and_days_come_back_as_such():
    cells = reopened([*NUMBERS, date(2026, 3, 4)])
    assert [cell.value for cell in cells[:-1]] == pytest.approx([float(one) for one in NUMBERS], rel=1e-15)
    assert (cells[-1].value, cells[-1].number_format) == (datetime(2026, 3, 4), "yyyy-mm-dd")


def test_what_no_workbook_can_hold_is_left_out():
    assert reopened(["a\x07b\x00c"])[0].value == "abc"


def test_a_formula_has_its_result_beside_it():
    book = StreamedBook()
    sheet = ReportSheet(book, "About", (20, 20), 1)
    row = sheet.add_line(Spot("sum"), Spot(Result('=SUMIFS(A:A,B:B,"<>x & y")', Decimal("3.5")), 2, MONEY))
    content = book.content()
    for results, value in ((False, '=SUMIFS(A:A,B:B,"<>x & y")'), (True, 3.5)):
        opened = openpyxl.load_workbook(io.BytesIO(content), data_only=results)
        assert opened["About"].cell(row, 2).value == value
