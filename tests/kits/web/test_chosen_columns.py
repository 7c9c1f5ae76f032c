"""Columns that somebody leaves out of a list: on the page and in its file, kept by the browser alone."""

import csv
import io
import json
import re

import pytest

pytestmark = pytest.mark.django_db
OFFERS = "/purchasing/offers/"


def told(client, address=OFFERS):
    return client.get(address).content.decode()


def heads(page):
    return [" ".join(re.sub("<[^>]+>", " ", head).split()) for head in re.findall(r'(?s)<th scope="col".*?</th>', page)]


def cells(page):
    row = re.search(r"(?s)<tbody>\s*<tr[^>]*>(.*?)</tr>", page)[1]
    return [" ".join(re.sub("<[^>]+>", " ", cell).split()) for cell in re.findall(r"(?s)<t[dh][ >].*?</t[dh]>", row)]


def leave_out(client, *names, **typed):
    of = re.search(r'name="columns"\s+value="([^"]*)"', told(client))[1]
    ticked = [name for name in of.split() if name not in names]
    return client.post("/columns/", {"list": "offers", "columns": of, "back": OFFERS, "column": ticked} | typed)


def test_a_column_is_left_out_of_heads_rows_and_file(small_shop, reader):
    whole = told(reader)
    assert leave_out(reader, "supplier", "price").url == OFFERS
    part = told(reader)
    gone = [place for place, head in enumerate(heads(whole)) if head not in heads(part)]
    assert len(gone) == 2
    assert cells(part) == [cell for place, cell in enumerate(cells(whole)) if place not in gone]
    assert "Columns, 2 left out" in " ".join(part.split())
    line = reader.get(f"{OFFERS}?export=csv").content.decode("utf-8-sig").splitlines()[0]
    assert "Supplier" not in line.split(",")
    leave_out(reader)
    assert heads(told(reader)) == heads(whole)


def test_the_column_that_says_whose_the_row_is_stays(small_shop, reader):
    whole = told(reader)
    leave_out(reader, "part")
    assert heads(told(reader)) == heads(whole)


def test_lists_are_kept_apart_and_only_in_the_browser(small_shop, reader, django_assert_num_queries):
    leave_out(reader, "price")
    assert json.loads(reader.cookies["columns"].value) == {"offers": ["price"]}
    assert "left out" not in told(reader, "/job-list/")
    assert reader.cookies["columns"]["httponly"]


def test_sheets_of_one_kind_of_page_keep_their_columns_apart(demo_shop, reader):
    """The lists of the shortages have one address but for the sheet: what is left out of one stands in the others."""
    post = {"list": "shortage_list_top_ups", "columns": "part what short", "back": "/", "column": ["part", "short"]}
    reader.post("/columns/", post)
    assert json.loads(reader.cookies["columns"].value) == {"shortage_list_top_ups": ["what"]}
    assert "What it is" in heads(told(reader, "/shortages/wear/"))
    reader.post("/columns/", {**post, "list": "shortage_list_wear"})
    assert "What it is" not in heads(told(reader, "/shortages/wear/"))
    line = reader.get("/shortages/wear/?export=csv").content.decode("utf-8-sig").splitlines()[0]
    assert "What it is" not in line.split(",")


def test_the_total_stays_under_the_prices(demo_shop, reader):
    names = ["part", "short", "price", "order_by"]
    reader.post(
        "/columns/",
        {"list": "shortages", "columns": " ".join(["part", "what", *names[1:]]), "back": "/", "column": names},
    )
    page = told(reader, "/shortages/")
    foot = re.search(r"(?s)<tfoot>(.*?)</tfoot>", page)[1]
    spans = [int(one) for one in re.findall(r'colspan="(\d+)"', foot)]
    assert spans[0] + 1 + spans[-1] == len(heads(page))
    assert heads(page)[spans[0]].startswith("Price")


@pytest.mark.parametrize(
    ("kept_under", "address"), [("shortages", "/shortages/"), ("shortage_list_wear", "/shortages/wear/")]
)
def test_the_total_goes_with_the_prices(demo_shop, reader, kept_under, address):
    assert "<tfoot>" in told(reader, address)
    reader.post("/columns/", {"list": kept_under, "columns": "part price", "back": "/", "column": ["part"]})
    assert "<tfoot>" not in told(reader, address)


@pytest.mark.parametrize(
    "cookie", ["", "no json", "[1]", '{"offers": 3}', '{"offers": [["price"]]}', '{"offers": ["x"]}']
)
def test_a_cookie_that_says_nothing_leaves_nothing_out(small_shop, reader, cookie):
    whole = told(reader)
    reader.cookies["columns"] = cookie
    assert heads(told(reader)) == heads(whole)


def test_one_goes_back_to_pages_of_this_site_only(small_shop, reader):
    assert leave_out(reader, "price", back="https://elsewhere.example/").url == "/"


def test_numbers_have_a_decimal_comma_between_semicolons(small_shop, reader):
    plain, comma = (
        list(csv.reader(io.StringIO(reader.get(f"{OFFERS}?export={kind}").content.decode("utf-8-sig")), delimiter=sign))
        for kind, sign in (("csv", ","), ("semicolon", ";"))
    )
    prices = [row[plain[0].index("Price per pack")] for row in plain[1:]]
    assert any("." in price for price in prices)
    assert [row[plain[0].index("Price per pack")] for row in comma[1:]] == [price.replace(".", ",") for price in prices]
    assert comma[0] == plain[0]


@pytest.mark.parametrize(
    "address",
    [
        "/storeroom/",
        "/storeroom/use-first/",
        "/storeroom/worth/",
        "/storeroom/movements/",
        "/purchasing/offers/",
        "/storeroom/disposal/",
        "/place-labels/",
        "/pumps-and-parts/",
        "/job-list/",
        "/shortages/",
        "/shortages/wear/?sort=part",
        "/shortages/orders/?sort=part",
        "/shortages/pack/",
        "/shortages/lots/",
        "/batch-sheets/kinds/Spring refit/",
    ],
)
def test_cells_stand_under_their_heads_when_one_is_left_out(demo_shop, clerk, address):
    """Each row keeps as many cells as there are heads, whatever stands before or after the columns."""
    whole = told(clerk, address)
    of = re.search(r'name="columns"\s+value="([^"]*)"', whole)[1].split()
    name = re.search(r'name="list"\s+value="([^"]*)"', whole)[1]
    clerk.post("/columns/", {"list": name, "columns": " ".join(of), "back": address, "column": of[:1] + of[2:]})
    part = told(clerk, address)
    assert len(heads(part)) == len(heads(whole)) - 1
    assert len(cells(part)) == len(cells(whole)) - 1
    assert len(heads(whole)) - len(cells(whole)) == len(heads(part)) - len(cells(part))
