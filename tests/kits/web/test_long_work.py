"""Files and answers that take long: a page says how far they are, may be left, and leads to what was made."""

import io
import threading

import openpyxl
import pytest
from django.db import transaction
from django.db.models import F
from django.test import Client
from django.utils import timezone

from bom.errors import BomError
from kits.catalog.caching.progress import report
from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.people.models import User
from kits.planning import queries
from kits.planning.buying import comparison
from kits.planning.keeping import plans as keeping
from kits.purchasing.models import Offer, PurchaseOrder
from kits.purchasing.orders.actions import send_order
from kits.web.views import long_work
from kits.web.views.plan import workbook
from kits.web.views.uploads import list_files
from tests.kits.planning.shared_cache import process_with
from tests.kits.web.hands import key_in
from tests.kits.web.shops import sheet_of, text_of

pytestmark = pytest.mark.django_db(transaction=True)
BOOK, LISTS, QUOTES = "/shortages/workbook/", "/upload/lists/", "/purchasing/comparison/"
WATCH = {"HX-Request": "true"}


@pytest.fixture(autouse=True)
def plans_kept():
    """What is kept, and for how long, these tests say themselves."""


@pytest.fixture
def slow(small_shop, monkeypatch):
    """Files and comparisons take as long as the test wants, and nobody waits for them; ``told`` says that one began."""
    go = threading.Event()
    go.told = threading.Event()

    def slowly(work):
        def wait_and_work(*facts, **more):
            report("Writing Shortages")
            go.told.set()
            assert go.wait(20)
            return work(*facts, **more)

        return wait_and_work

    monkeypatch.setattr(keeping, "PATIENCE_SECONDS", 0.05)
    monkeypatch.setattr(keeping, "FILE_PATIENCE_SECONDS", 0.05)
    monkeypatch.setattr(workbook, "FILE_PATIENCE_SECONDS", 0.05)
    monkeypatch.setattr(long_work, "WHOLE_SECONDS", 0.05)
    monkeypatch.setattr(queries, "_plans", process_with(None))
    monkeypatch.setattr(workbook, "shortage_workbook", slowly(workbook.shortage_workbook))
    monkeypatch.setattr(list_files, "dump_workbook", slowly(list_files.dump_workbook))
    monkeypatch.setattr(comparison, "read_bids", slowly(comparison.read_bids))
    yield go
    go.set()
    settle()


def settle():
    for thread in threading.enumerate():
        if thread.name.startswith("work out"):
            thread.join(20)


def write():
    with transaction.atomic():
        mark_shop()


@pytest.mark.parametrize(("address", "sheet"), [(BOOK, "Shortages"), (LISTS, "Items")])
def test_a_file_that_takes_long_says_how_far_it_is_may_be_left_and_is_fetched_later(slow, reader, address, sheet):
    asked = reader.get(address)
    assert asked.url == f"{address}?work=1", "an address that a reload does not turn into a file"
    assert slow.told.wait(20)
    shown = reader.get(asked.url)
    assert 'http-equiv="refresh"' in shown.content.decode(), "without scripts it looks again by itself"
    assert "being written" in sheet_of(shown)
    assert "Writing Shortages" in sheet_of(shown)
    again = reader.get(asked.url, headers=WATCH)
    assert "HX-Refresh" not in again
    reader.get("/shortages/")
    slow.set()
    settle()
    assert reader.get(asked.url, headers=WATCH)["HX-Refresh"] == "true"
    ready = reader.get(asked.url)
    assert "The file is made" in sheet_of(ready)
    assert f'href="{address}?ready=1"' in ready.content.decode()
    file = reader.get(f"{address}?ready=1")
    assert sheet in openpyxl.load_workbook(io.BytesIO(file.content)).sheetnames
    assert reader.get(address).content == file.content, "whoever comes back to the link gets the same file"


def test_a_double_tap_and_a_second_person_wait_for_the_same_file(slow, reader, clerk):
    for person in (reader, reader, clerk):
        assert person.get(BOOK).status_code == 302
    assert [thread.name for thread in threading.enumerate() if thread.name.startswith("work out")] == [
        "work out workbook of '' for ''"
    ]


def test_a_file_that_was_overtaken_says_so_and_is_made_anew_on_demand(slow, reader):
    reader.get(BOOK)
    write()
    slow.set()
    settle()
    shown = reader.get(BOOK)
    assert "something was booked or changed since" in sheet_of(shown)
    assert f'href="{BOOK}?latest=1"' in shown.content.decode()
    assert reader.get(f"{BOOK}?ready=1")["Content-Type"] == workbook.WORKBOOK
    slow.clear()
    assert reader.get(f"{BOOK}?latest=1").url == f"{BOOK}?work=1"
    slow.set()
    settle()
    assert "of what stands in the shop now" in sheet_of(reader.get(f"{BOOK}?work=1"))


def test_each_batch_and_supplier_has_a_file_of_its_own(slow, reader):
    assert reader.get(BOOK, {"batch": "spring"}).url == f"{BOOK}?batch=spring&work=1"
    reader.get(BOOK)
    slow.set()
    settle()
    one, all_of_it = (reader.get(BOOK, asked)["Content-Disposition"] for asked in ({"batch": "spring"}, {}))
    assert ("shortages-spring" in one, "spring" in all_of_it) == (True, False)


def test_nobody_fetches_a_file_without_signing_in(slow, reader):
    reader.get(BOOK)
    slow.set()
    settle()
    for address in (BOOK, f"{BOOK}?ready=1", f"{LISTS}?ready=1"):
        assert "/sign-in/" in Client().get(address).url


@pytest.mark.parametrize("address", [QUOTES, f"{QUOTES}parts/"])
def test_while_quotes_are_compared_the_page_says_how_far_it_is_and_may_be_left(slow, reader, address):
    shown = reader.get(address, {"whose": "record"})
    assert "Quotes are being compared" in sheet_of(shown)
    assert 'hx-get="?whose=record&amp;work=1"' in shown.content.decode()
    slow.set()
    settle()
    assert reader.get(address, {"whose": "record", "work": "1"}, headers=WATCH)["HX-Refresh"] == "true"
    assert reader.get(address, {"whose": "record", "work": "1"}).url == f"{address}?whose=record"
    assert reader.get(address, {"whose": "record"}).context["found"]
    write()
    assert "Compare anew" in sheet_of(reader.get(address, {"whose": "record"}))


def test_nothing_is_drafted_of_quotes_that_are_still_being_compared(slow, keeper):
    answer = keeper.post(f"{QUOTES}order/", {"line": ["1"]}, follow=True)
    assert "quotes are compared anew" in text_of(answer)


def compared(client, slow):
    """The page of what was compared, once it is worked out, and what its button sends."""
    client.get(QUOTES, {"whose": "record"})
    slow.set()
    settle()
    page = client.get(QUOTES, {"whose": "record"})
    lines = [line.name for line in page.context["found"].lines]
    assert lines
    return page, {"key": key_in(page, f"{QUOTES}order/"), "line": lines, "whose": "record", "late": "least"}


def test_prices_that_were_loaded_since_are_compared_and_never_the_old_ones(slow, keeper):
    before, _ = compared(keeper, slow)
    with transaction.atomic():
        mark_catalog()
        Offer.objects.update(price_per_pack=F("price_per_pack") * 10)
    keeper.get(QUOTES, {"whose": "record"})
    settle()
    after = keeper.get(QUOTES, {"whose": "record"})
    assert after.context["found"].total == before.context["found"].total * 10


def test_a_second_tap_leads_where_the_first_did_though_quotes_would_be_compared_anew(slow, keeper, monkeypatch):
    monkeypatch.setattr(long_work, "WHOLE_SECONDS", 20)
    _, said = compared(keeper, slow)
    assert keeper.post(f"{QUOTES}order/", said).status_code == 302
    monkeypatch.setattr(long_work, "WHOLE_SECONDS", 0.0)
    slow.clear()
    assert "compared anew" not in text_of(keeper.post(f"{QUOTES}order/", said, follow=True))
    assert PurchaseOrder.objects.count() == 1


def test_what_was_ordered_since_is_not_drafted_again_from_what_was_compared_before(slow, keeper, monkeypatch):
    monkeypatch.setattr(long_work, "WHOLE_SECONDS", 20)
    _, said = compared(keeper, slow)
    in_another_tab = {**said, "key": key_in(keeper.get(QUOTES, {"whose": "record"}), f"{QUOTES}order/")}
    keeper.post(f"{QUOTES}order/", said)
    by, today = User.objects.get(username="keeper"), queries.today()
    for order in PurchaseOrder.objects.all():
        send_order(order=order.pk, sent_on=today, by=by, at=timezone.now(), today=today, key=f"send {order.pk}")
    monkeypatch.setattr(long_work, "WHOLE_SECONDS", 0.0)
    slow.clear()
    assert "compared anew" in text_of(keeper.post(f"{QUOTES}order/", in_another_tab, follow=True))
    assert PurchaseOrder.objects.count() == 1


def test_a_list_is_taken_away_as_a_file_though_it_is_still_worked_out(slow, keeper, monkeypatch):
    monkeypatch.setattr(long_work, "WHOLE_SECONDS", 20)
    slow.set()
    taken = keeper.get(QUOTES, {"whose": "record", "export": "xlsx"})
    assert "spreadsheet" in taken["Content-Type"]


def test_a_failure_is_told_to_whoever_watches_by_the_page_that_follows(slow, reader, monkeypatch):
    tries = []

    def fail(*facts, **more):
        tries.append(facts)
        assert slow.wait(20)
        raise BomError("This shop cannot be written down.")

    monkeypatch.setattr(workbook, "shortage_workbook", fail)
    monkeypatch.setattr(workbook, "FILE_PATIENCE_SECONDS", 0.0)
    asked = reader.get(BOOK)
    slow.set()
    settle()
    assert reader.get(f"{BOOK}?work=1", headers=WATCH)["HX-Refresh"] == "true"
    told = reader.get(f"{BOOK}?work=1")
    assert (told.status_code, "This shop cannot be written down." in text_of(told)) == (409, True)
    assert (asked.status_code, len(tries)) == (302, 1)
