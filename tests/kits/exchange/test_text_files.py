"""Comma-separated text: character sets, delimiters, quotation marks."""

import pytest

from kits.catalog.models import Item
from kits.exchange.actions import load_files
from tests.kits.exchange.books import AT, only_problem, remarks_of, text_file

pytestmark = pytest.mark.django_db
HEAD = "part_number,description,kind,stock_unit"


def load(text, name="items.csv", encoding="utf-8"):
    return load_files(files=[text_file(name, text, encoding)], by=None, at=AT)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_the_character_set_is_found_out(encoding):
    assert load(f"{HEAD}\nX-1,Dichtung für Kolben é,part,each\n", encoding=encoding).stored
    assert Item.objects.get().description == "Dichtung für Kolben é"


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_delimiter_is_found_out(delimiter):
    text = f'{HEAD}\nX-1,"ring, 3; soft",part,each\n'.replace(",", delimiter).replace(f"ring{delimiter}", "ring,")
    assert load(text).stored
    assert Item.objects.get().description == "ring, 3; soft"


def test_an_open_quotation_mark_is_refused():
    problem = only_problem(load(f'{HEAD}\nX-1,"ring,part,each\nX-2,ring,part,each\n'))
    assert "cannot be taken apart" in problem.reason
    assert "quotation mark" in problem.remedy


def test_a_row_with_too_many_cells_is_refused():
    problem = only_problem(load(f"{HEAD}\nX-1,ring, soft,part,each\n"))
    assert (problem.row, problem.reason) == (2, "this row has more cells than there are headings")


def test_rows_count_as_an_editor_counts_lines():
    problem = only_problem(load(f'{HEAD}\nX-1,"ring\nof two lines",part,each\nX-2,ring,prt,each\n'))
    assert problem.row == 4


def test_a_file_is_known_by_its_name():
    assert load(f"{HEAD}\nX-1,ring,part,each\n", name="ITEMS.CSV").stored


def test_how_it_was_read_is_said():
    assert "cp1252" in remarks_of(load(f"{HEAD}\nX-1,Größe,part,each\n", encoding="cp1252"))


def test_a_text_kept_from_being_run_is_read_as_it_was_meant():
    assert load(f"{HEAD}\nX-1,'=1+2,part,each\n").stored
    assert Item.objects.get().description == "=1+2"


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_whose_first_mark_was_lost_is_read_and_said(encoding):
    found = load(f"{HEAD}\nX-1,Größe,part,each\n", encoding=encoding)
    assert found.stored
    assert "the mark at its start is missing" in remarks_of(found)


@pytest.mark.parametrize("line", ["sep=;", '"sep=;"', "SEP=;"])
def test_a_first_line_that_names_the_delimiter_is_heeded(line):
    assert load(f"{line}\r\n{HEAD.replace(',', ';')}\r\nX-1;ring, soft;part;each\r\n").stored
    assert Item.objects.get().description == "ring, soft"


def test_decimal_commas_between_semicolons_are_read_and_said():
    found = load("part_number;description;kind;stock_unit;unit_cost\nX-1;cord;part;mm;1,25\n")
    assert found.stored
    assert str(Item.objects.get().unit_cost) == "1.250000"
    assert "comma" in remarks_of(found)
