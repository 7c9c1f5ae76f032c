"""The pages on which the shelf is watched: what they say of the demo shop, and what leaves them as a file."""

import csv
import io

import pytest
from openpyxl import load_workbook

from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db

PAGES = ("ending", "use-first", "top-up", "customers", "worth")


def rows_of(answer):
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


@pytest.mark.parametrize("address", PAGES)
def test_an_empty_shop_says_what_to_do_next(reader, address):
    answer = reader.get(f"/storeroom/{address}/")
    assert answer.status_code == 200
    assert 'class="nothing"' in answer.content.decode()


def test_the_lot_that_dies_before_its_job_is_told_with_the_job(demo_shop, reader):
    page = sheet_of(reader.get("/storeroom/ending/"))
    assert "1 lot is past its last day; 1 will run out before a job that could have used it." in page
    assert "runs out before J-3118" in page


def test_the_file_holds_what_the_filter_leaves(demo_shop, reader):
    rows = rows_of(reader.get("/storeroom/ending/?standing=wasted&export=csv"))
    assert [(row["Part"], row["Lot"], row["Not used by then"]) for row in rows] == [("CS-34-U", "NV-2104", "4")]


def test_a_heading_sorts_the_page_and_the_file(demo_shop, reader):
    lots = [row["Lot"] for row in rows_of(reader.get("/storeroom/ending/?sort=-lot&export=csv"))]
    assert lots == sorted(lots, reverse=True)
    assert len(set(lots)) > 2
    page = sheet_of(reader.get("/storeroom/ending/?sort=-lot"))
    assert page.index(lots[0]) < page.index(lots[-1])


@pytest.mark.parametrize("address", PAGES)
def test_each_list_goes_out_as_a_workbook(demo_shop, reader, address):
    answer = reader.get(f"/storeroom/{address}/?export=xlsx&all=1")
    sheet = load_workbook(io.BytesIO(answer.content)).active
    assert sheet.max_column > 5
    assert sheet.max_row > 1 or address == "customers"


@pytest.mark.parametrize("months", ["", "x", "-1", "99999", "²"])
def test_months_that_are_no_number_are_a_year(demo_shop, reader, months):
    assert "4 Mar 2027" in sheet_of(reader.get("/storeroom/ending/", {"months": months}))


def test_worth_adds_up_to_what_the_rows_say(demo_shop, reader):
    rows = rows_of(reader.get("/storeroom/worth/?export=csv"))
    total = sum(float(row["Worth"] or 0) for row in rows)
    assert f"The shelf is worth {total:,.2f} EUR" in sheet_of(reader.get("/storeroom/worth/"))


def test_what_to_use_first_is_sorted_and_found_by_later_lots_too(demo_shop, reader):
    page = sheet_of(reader.get("/storeroom/use-first/?sort=-quantity"))
    assert page.index("GM-77") < page.index("GS-09") < page.index("NV-2104")
    found = sheet_of(reader.get("/storeroom/use-first/?find=nv-2417"))
    assert "NV-2104" in found
    assert "GM-77" not in found


@pytest.mark.parametrize("address", ["storeroom/use-first", "storeroom/labels", "storeroom/ending"])
def test_a_list_leads_to_its_files_once(demo_shop, reader, address):
    page = reader.get(f"/{address}/?q=K1").content.decode()
    assert page.count('class="list-files"') == 1
