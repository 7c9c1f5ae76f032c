"""The one search field: a number that names one thing leads straight to it, everything else to a list."""

from datetime import date

import pytest

from kits.catalog.models import Item, OtherNumber
from kits.planning.lists.finder import find
from kits.schedule.models import Job
from kits.service.models import Gauge
from kits.stock.models import Lot
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("asked", "leads_to"),
    [
        ("OR-014", "/parts/OR-014/"),
        ("  or–014 ", "/parts/OR-014/"),
        ("K-1", "/kits/K-1/"),
        ("P-1", "/pumps/P-1/"),
        ("j-1", "/jobs/J-1/"),
        ("S-77", "/jobs/J-1/"),
        ("spring", "/batches/spring/"),
        ("A1", "/storeroom/?place=A1"),
        ("PO-2", "/purchasing/?order=PO-2"),
        ("400-7731", "/parts/OR-014/"),
        ("4007731", "/parts/OR-014/"),
        ("or014", "/parts/OR-014/"),
        ("OR 014", "/parts/OR-014/"),
        ("j1", "/jobs/J-1/"),
        ("s77", "/jobs/J-1/"),
        ("a-1", "/storeroom/?place=A1"),
        ("po2", "/purchasing/?order=PO-2"),
        ("ring house", "/purchasing/?supplier=Ring+House"),
        ("pg7", "/gauges/?find=PG-7"),
    ],
)
def test_number_leads_to_the_thing_that_bears_it(small_shop, reader, asked, leads_to):
    OtherNumber.objects.create(item=Item.objects.get(part_number="OR-014"), number="400-7731")
    Gauge.objects.create(gauge="PG-7", reads="0 to 600 bar", due_on=date(2026, 6, 1))
    answer = reader.get("/search/", {"q": asked})
    assert answer.status_code == 302
    assert answer.url == leads_to


@pytest.mark.parametrize(("asked", "part"), [("l-1", "OR-014"), ("KIT-9", "K-1"), ("M-88", "BA-1"), ("C 4/25", "BA-1")])
def test_code_of_a_lot_its_makers_batch_or_certificate_leads_to_the_lot(small_shop, reader, asked, part):
    Lot.objects.filter(lot="B-7").update(maker_batch="M-88", certificate="C 4/25")
    answer = reader.get("/search/", {"q": asked}, follow=True)
    lot = Lot.objects.get(item__part_number=part)
    assert answer.redirect_chain == [(f"/storeroom/lots/{lot.pk}/", 302)]
    assert f"{part}, lot {lot.lot}" in sheet_of(answer)


@pytest.mark.parametrize(
    ("asked", "what"), [("or0", "OR-014 O-ring"), ("or 0", "OR-014 O-ring"), ("t9", "KIT-9 lot of K-1")]
)
def test_piece_of_a_number_is_found_without_its_signs(small_shop, reader, asked, what):
    assert what in sheet_of(reader.get("/search/", {"q": asked}))


def test_number_as_it_stands_goes_before_one_without_its_signs(small_shop, reader):
    Item.objects.create(part_number="O-R014", description="another ring", kind="part", stock_unit="each")
    assert reader.get("/search/", {"q": "OR-014"}).url == "/parts/OR-014/"
    sheet = sheet_of(reader.get("/search/", {"q": "or014"}))
    assert "OR-014" in sheet
    assert "O-R014" in sheet


@pytest.mark.parametrize("asked", ["OR-014", "valve", "1", "nothing of this name"])
def test_search_asks_eleven_statements_whatever_is_found(small_shop, django_assert_num_queries, asked):
    """Three for items: by any number, by one without its signs, and those found; one for each of eight other kinds."""
    with django_assert_num_queries(11):
        find(asked)


def test_nothing_but_signs_finds_nothing_nearly(small_shop, reader):
    assert reader.get("/search/", {"q": "--"}).status_code == 200


def test_code_of_two_lots_lets_one_choose(small_shop, reader):
    Lot.objects.create(item=Item.objects.get(part_number="BA-1"), lot="L-1")
    sheet = sheet_of(reader.get("/search/", {"q": "L-1"}))
    assert "lot of OR-014" in sheet
    assert "lot of BA-1" in sheet


def test_words_lead_to_a_list(small_shop, reader):
    sheet = sheet_of(reader.get("/search/", {"q": "valve"}))
    assert "2 things bear these words." in sheet
    assert "CK-1 check valve" in sheet
    assert "SE-1 valve seat" in sheet


def test_number_of_two_things_lets_one_choose(small_shop, reader):
    OtherNumber.objects.create(item=Item.objects.get(part_number="BA-1"), number="J-1")
    sheet = sheet_of(reader.get("/search/", {"q": "J-1"}))
    assert "BA-1 ball" in sheet
    assert "J-1 P-1, full, serial S-77" in sheet


def test_nothing_found_says_what_to_try(small_shop, reader):
    assert "check O and 0, I and 1" in sheet_of(reader.get("/search/", {"q": "OR-O14"}))


def test_nothing_asked_finds_nothing(small_shop, reader):
    assert "Type a part number" in sheet_of(reader.get("/search/", {"q": "  "}))


def test_customer_leads_to_the_list_of_their_jobs(small_shop, reader):
    Job.objects.filter(job__in=["J-1", "J-9"]).update(customer="Harbour Works")
    answer = reader.get("/search/?q=harbour+works")
    assert answer.url == "/job-list/?customer=Harbour+Works&past=1"
    assert [row.job for row in reader.get(answer.url).context["list"].rows] == ["J-9", "J-1"]
    assert "Harbour Works customer, 2 jobs" in sheet_of(reader.get("/search/?q=harbour"))
