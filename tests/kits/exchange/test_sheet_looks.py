"""Every workbook that leaves can be read on the screen and on paper: one face, headings that stay, one page wide."""

import io

import openpyxl
import pytest

from bom.answers.rows import as_json
from kits.exchange.workbooks.dump import dump_workbook
from kits.exchange.workbooks.list_export import ListColumn, list_as_workbook
from kits.exchange.workbooks.sheet_templates import template_workbook
from kits.exchange.workbooks.shortage_book import shortage_workbook
from kits.planning.queries import plan_now
from tests.kits.exchange.books import SHOP, load_sheets

pytestmark = pytest.mark.django_db


def shortages(supplier=None):
    plan = plan_now()
    return shortage_workbook(plan, as_json(plan), supplier)


BOOKS = {
    "lists": dump_workbook,
    "templates": template_workbook,
    "shortages": shortages,
    "one supplier": lambda: shortages("Ring House"),
    "a list of a page": lambda: list_as_workbook("List", [ListColumn("a", "A", str)], ["x"]),
}


@pytest.mark.parametrize("name", BOOKS)
def test_a_workbook_looks_the_same_on_screen_and_paper(name):
    load_sheets(SHOP)
    book = openpyxl.load_workbook(io.BytesIO(BOOKS[name]()))
    for sheet in book:
        assert sheet.freeze_panes, sheet.title
        assert sheet.print_title_rows, sheet.title
        assert sheet.page_setup.orientation == "landscape", sheet.title
        assert (sheet.sheet_properties.pageSetUpPr.fitToPage, sheet.page_setup.fitToHeight) == (True, 0), sheet.title
        assert sheet.oddFooter.right.text == "&P of &N", sheet.title
        faces = {cell.font.name for row in sheet.iter_rows() for cell in row if cell.value is not None}
        assert len(faces) <= 1, sheet.title
        assert None not in faces, sheet.title


def test_a_list_of_many_columns_stays_legible_over_pages_side_by_side():
    load_sheets(SHOP)
    book = openpyxl.load_workbook(io.BytesIO(dump_workbook()))
    wide, narrow = book["Items"], book["Places"]
    assert (narrow.page_setup.fitToWidth, narrow.print_title_cols) == (1, None)
    assert 2 <= wide.page_setup.fitToWidth <= 3
    assert wide.print_title_cols == "$A:$A"


def test_headings_are_set_apart_by_weight():
    book = openpyxl.load_workbook(io.BytesIO(template_workbook(["Items"])))
    heading, example = book["Items"]["A1"], book["Items"]["A2"]
    assert (heading.font.b, heading.font.sz) == (True, example.font.sz)
    assert example.font.i
