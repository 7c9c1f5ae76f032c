"""Templates explain themselves, offer what may be chosen, and load as nothing while nobody has filled them in."""

import io

import openpyxl
import pytest

from kits.catalog.models import Item
from kits.exchange.actions import check_files, load_files
from kits.exchange.columns.column_notes import column_note
from kits.exchange.columns.layouts import BY_NAME, LAYOUTS
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.workbooks.sheet_templates import template_workbook
from tests.kits.exchange.books import AT, book_file, items, only_problem, remarks_of, text_file

COLUMNS = [(sheet, column) for sheet in LAYOUTS for column in sheet.columns]


def template(*names):
    return openpyxl.load_workbook(io.BytesIO(template_workbook(names)))


def saved(book, name="filled.xlsx"):
    out = io.BytesIO()
    book.save(out)
    return SheetFile(name, out.getvalue())


def test_there_is_a_template_of_every_sheet_or_of_those_that_are_named():
    book = template()
    assert book.sheetnames == [sheet.name for sheet in LAYOUTS]
    assert [[cell.value for cell in page[1]] for page in book] == [
        [column.name for column in sheet.columns] for sheet in LAYOUTS
    ]
    assert template("Lots").sheetnames == ["Lots"]


def test_text_columns_take_text_as_it_is_typed():
    page = template("Items")["Items"]
    assert page.column_dimensions["A"].number_format == "@"
    assert page["A2"].number_format == "@"
    assert page.freeze_panes == "A2"


@pytest.mark.parametrize(("sheet", "column"), COLUMNS, ids=lambda one: getattr(one, "name", ""))
def test_every_heading_says_what_its_column_means(sheet, column):
    says = column_note(sheet, column)
    assert says.endswith(".")
    assert ("Must be filled in." in says) == column.required
    assert len(says) < 250
    if column.reads == "word":
        assert all(word in says for word in column.words)


def test_no_note_is_about_a_column_that_is_not_there():
    for sheet in LAYOUTS:
        assert set(sheet.notes) <= {column.name for column in sheet.columns}


def test_notes_and_lists_to_choose_from_stand_in_the_workbook():
    page = template("Items")["Items"]
    places = {cell.value: cell.column_letter for cell in page[1]}
    assert "Text: 0012 stays 0012" in page["A1"].comment.text
    lists = {str(choice.sqref): choice.formula1 for choice in page.data_validations.dataValidation}
    assert lists[f"{places['kind']}2:{places['kind']}5000"] == '"part,assembly,kit,pump"'
    assert lists[f"{places['stock_unit']}2:{places['stock_unit']}5000"].startswith('"each,mm,')
    assert all(len(formula) <= 257 for formula in lists.values()), "a longer list is no list for a spreadsheet"


def test_every_example_is_a_row_of_its_sheet():
    for sheet in LAYOUTS:
        columns = {column.name for column in sheet.columns}
        needed = {column.name for column in sheet.columns if column.required}
        assert sheet.example
        assert needed <= set(sheet.example) <= columns


@pytest.mark.django_db
def test_untouched_templates_load_as_nothing_and_say_so(shop):
    found = check_files(files=[SheetFile("template.xlsx", template_workbook())], at=AT)
    assert found.problems == ()
    assert not found.changes_something
    assert remarks_of(found).count("the example row was left out") == len(LAYOUTS)


@pytest.mark.django_db
@pytest.mark.parametrize("keep_example", [True, False])
def test_a_filled_in_template_loads_what_was_typed(keep_example):
    book = template("Items")
    if not keep_example:
        book["Items"].delete_rows(2)
    row = 3 if keep_example else 2
    for place, value in enumerate(("0012", "ring", "part", "each"), start=1):
        book["Items"].cell(row, place, value).number_format = "@"
    assert load_files(files=[saved(book)], by=None, at=AT).stored
    assert [item.part_number for item in Item.objects.all()] == ["0012"]


@pytest.mark.django_db
def test_the_example_is_known_again_when_it_comes_back_as_text():
    example = BY_NAME["Offers"].example
    text = ",".join(example) + "\n" + ",".join(map(str, example.values())) + "\n"
    found = check_files(files=[text_file("offers.csv", text)], at=AT)
    assert not found.problems
    assert "the example row was left out" in remarks_of(found)


@pytest.mark.django_db
def test_an_example_that_is_half_typed_over_is_refused():
    book = template("Items")
    book["Items"]["B2"] = "my ring"
    problem = only_problem(check_files(files=[saved(book)], at=AT))
    assert (problem.row, problem.value) == (2, "EXAMPLE-014")
    assert "half the example" in problem.reason


@pytest.mark.django_db
def test_a_description_may_begin_as_it_likes():
    found = check_files(files=[book_file(items(("X-1", "Example of a ring", "part", "each")))], at=AT)
    assert not found.problems
    assert found.changes_something
