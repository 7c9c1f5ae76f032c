"""Signs that show a text in another order than it stands in are left out of it, by whatever way it comes.

Which they are: the Unicode Standard, Annex 9 (marks in 2.6, embeddings and overrides in 2.1 and 2.2, isolates in 2.4).
"""

import pytest
from django.contrib.auth.models import Group
from django.core.files.uploadedfile import SimpleUploadedFile

from kits.catalog.folding import fold, without_turns
from kits.catalog.models import Item
from kits.people.models import User
from kits.stock.models import Certificate, Lot, Posting
from tests.kits.exchange.books import SHOP, check_sheets, load_sheets, only_problem, remarks_of, with_cell, with_row
from tests.kits.web.hands import tap
from tests.kits.web.shops import load_small, sheet_of

pytestmark = pytest.mark.django_db

SAYS = "characters that turn the direction of writing were left out"
TURNS = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


@pytest.mark.parametrize("sign", TURNS)
def test_every_sign_that_turns_is_left_out_and_does_not_count_in_comparing(sign):
    assert without_turns(f"OR-{sign}014") == "OR-014"
    assert fold(f"or-0{sign}14") == fold("OR-014")


@pytest.mark.parametrize("text", ["Übergröße – 5 °C", "密封圈", "חותם", "a\u200db"])
def test_writing_that_runs_the_other_way_by_itself_stays_as_it_is(text):
    assert without_turns(text) == text


@pytest.mark.parametrize(
    ("sheet", "row", "column", "value", "stored"),
    [
        ("Items", 5, "description", "O-ring \u202efdp.41", "O-ring fdp.41"),
        ("Items", 5, "part_number", "OR-\u206641\u20690", "OR-410"),
        ("Items", 5, "material", "N\u200fBR", "NBR"),
    ],
)
def test_texts_of_a_sheet_lose_them_and_the_preview_says_so(sheet, row, column, value, stored):
    sheets = with_cell(sheet, row, column, value)
    if column == "part_number":
        sheets = {"Items": sheets["Items"]}
    assert f"Items row {row}, {column}: {SAYS}" in remarks_of(check_sheets(sheets))
    assert load_sheets(sheets).stored
    assert Item.objects.filter(**{column: stored}).exists()


def test_cell_that_holds_nothing_else_is_blank():
    problem = only_problem(check_sheets(with_cell("Items", 5, "description", "\u202e\u200f ")))
    assert (problem.column, problem.reason) == ("description", "it is blank")


def test_number_that_is_shown_turned_is_no_number():
    load_sheets(SHOP)
    problem = only_problem(check_sheets(with_row("Lots", "OR-014", "L-9", "\u202e21", "A1", "4Q25")))
    assert problem.column == "quantity"


def test_name_of_a_file_is_shown_as_it_stands():
    from kits.exchange.files.sheet_file import SheetFile

    assert SheetFile("lists\u202exslx.exe", b"").name == "listsxslx.exe"


@pytest.fixture
def shop(client, db):
    load_small()
    client.force_login(User.objects.create_superuser("admin"))
    return client


def test_typed_texts_lose_them_on_pages_of_the_shop(shop):
    load = {"quantity_1": "5", "place_1": "", "batch_1": "M-\u202e7", "lot_1": "L\u200f-7", "cure_1": "4Q25"}
    from kits.stock.models import Place

    load["place_1"] = Place.objects.get(place="A1").pk
    assert tap(shop, "/storeroom/receive/parts/OR-014/", {**load, "reason": "note \u202e71"}).status_code == 302
    lot = Lot.objects.latest("pk")
    assert (lot.lot, lot.maker_batch, Posting.objects.latest("pk").reason) == ("L-7", "M-7", "note 71")


def test_typed_texts_lose_them_in_the_back_office(shop):
    ring = Item.objects.get(part_number="OR-014")
    shop.post("/back-office/stock/lot/add/", {"item": ring.pk, "lot": "X-\u202e41", "maker_batch": "M\u2066"})
    lot = Lot.objects.latest("pk")
    assert (lot.lot, lot.maker_batch) == ("X-41", "M")


def test_file_of_a_certificate_is_kept_under_the_name_that_is_read(shop):
    lot = Lot.objects.get(lot="L-1")
    paper = SimpleUploadedFile("cert\u202efdp.png", b"%PDF-1.4 x")
    shop.post(f"/storeroom/certificates/lots/{lot.pk}/", {"reference": "C-\u202e1", "file": paper})
    kept = Certificate.objects.get()
    assert (kept.reference, kept.file_name) == ("C-1", "certfdp.png")


def test_pasted_lists_lose_them_with_a_word_in_the_preview(shop):
    text = "part_number\tdescription\tkind\tstock_unit\nOR-\u202e99\tring\tpart\teach\n"
    answer = shop.post("/upload/paste/Items/", {"cells": text}, follow=True)
    assert SAYS in sheet_of(answer)


def test_password_is_taken_as_it_was_typed(client):
    person = User.objects.create_user("clerk", password="hollow \u202e kettle")
    person.groups.add(Group.objects.get(name="Storeroom clerk"))
    assert client.post("/sign-in/", {"username": "cl\u202eerk", "password": "hollow \u202e kettle"}).status_code == 302
