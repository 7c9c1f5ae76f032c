"""Pages ask the database a fixed number of questions, whatever the number of rows, and none while they are rendered."""

from datetime import UTC, date, datetime

import pytest
from django.contrib.auth.models import Group
from django.db import connection, transaction
from django.template.loader import render_to_string
from django.test.utils import CaptureQueriesContext

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import Item, Setting, StructureLine
from kits.exchange.models import Upload
from kits.purchasing.models import OrderLine, Supplier
from kits.schedule.models import Batch, Job
from kits.stock.ledger import Entry, OnShelf, post
from kits.stock.models import Balance, Lot, Place
from kits.web.render_guard import StatementWhileRendering
from tests.keeping import forget_plans

PAGES = [
    "/tests/J-2/", "/test-limits/P-1/", "/gauges/", "/quotes/J-2/", "/work-hours/", "/records/J-2/", "/serials/S-77/",
    "/", "/schedule/", "/batches/spring/", "/shelf/spring/", "/jobs/J-2/", "/shortages/", "/shortages/?batch=spring",
    "/strip-report/J-2/", "/tray/J-2/",
    "/storeroom/", "/purchasing/", "/pumps-and-parts/?kind=part", "/pumps/P-1/", "/parts/OR-014/", "/kits/K-1/",
    "/upload/", "/search/?q=O", "/purchasing/due/", "/purchasing/offers/", "/purchasing/replies/",
    "/purchasing/requests/", "/purchasing/comparison/?whose=record", "/purchasing/comparison/parts/?whose=record",
    "/purchasing/quotes/", "/purchasing/?order=PO-N1", "/picking/", "/uses/OR-014/",
    "/worked-out/figure/OR-014/?also=demand&also=sure",
    "/storeroom/?q=LO", "/storeroom/receive/", "/storeroom/put-away/", "/storeroom/movements/",
    "/storeroom/movements/?part=OR-014&sort=-lot", "/storeroom/quarantine/", "/storeroom/disposal/",
    "/storeroom/disposal/record/", "/storeroom/bench/", "/storeroom/returns/", "/storeroom/counts/?all=1",
    "/storeroom/labels/", "/storeroom/first/", "/storeroom/certificates/", "/storeroom/ending/?months=240",
    "/storeroom/use-first/", "/storeroom/top-up/?all=1", "/storeroom/customers/", "/storeroom/worth/",
    "/storeroom/worth/?sort=lot", "/storeroom/kits/", "/storeroom/kits/pack/K-1/", "/storeroom/suspects/",
    "/storeroom/rings/", "/pumps-and-parts/?kind=kit", "/upload/history/",
    "/changes/", "/waiting/", "/week/", "/freeing/", "/?for=clerk", "/?for=purchaser", "/?for=lead",
    "/roles/",
]  # fmt: skip
MOST = 25
"""One of them is for what stands at the top of each page."""
COUNTED_AT = datetime(2026, 3, 3, tzinfo=UTC)


def add_rows(numbers):
    """For each number one more job, part in the pump, lot, order line and upload."""
    batch, place, supplier = Batch.objects.get(name="spring"), Place.objects.get(place="A1"), Supplier.objects.get()
    pump, end, ring = (Item.objects.get(part_number=number) for number in ("P-1", "E-1", "OR-014"))
    for number in numbers:
        Job.objects.create(
            job=f"N-{number}", pump=pump, scope="full", build_on=date(2026, 4, 1), batch=batch, serial=f"O-{number}"
        )
        part = Item.objects.create(
            part_number=f"OX-{number}", description="O-ring", kind="part", stock_unit="each", material="steel"
        )
        StructureLine.objects.create(parent=end, child=part, quantity=ONE, at_rebuild="renew", position=f"N {number}")
        for item in (ring, part, Item.objects.get(part_number="K-1")):
            lot = Lot.objects.create(item=item, lot=f"LO-{number}", printed_last_use_on=date(2026, 9, 1))
            Balance.objects.create(lot=lot, place=place, quantity=ONE)
            with transaction.atomic():
                entry = Entry(OnShelf(lot.pk, place.pk), ONE)
                post(
                    entries=[entry], kind="count", by=None, at=datetime(2026, 3, 3, tzinfo=UTC), key=f"{item}-{number}"
                )
        OrderLine.objects.create(
            order=f"PO-N{number}", line="1", supplier=supplier, item=ring, quantity=ONE, promised_on=date(2026, 3, 5)
        )
        Upload.objects.create(at="2026-03-04T09:00Z", state="withdrawn")


def count_statements(reader, addresses=PAGES, *, anew=True):
    """How often each page asks the database, the first one planned from nothing, or all from what is kept."""
    if anew:
        forget_plans()
    found = {}
    for address in addresses:
        with CaptureQueriesContext(connection) as asked:
            answer = reader.get(address)
        assert answer.status_code == 200
        found[address] = len(asked)
    return found


def add_jobs(numbers):
    pump, batch = Item.objects.get(part_number="P-1"), Batch.objects.get(name="spring")
    Job.objects.bulk_create(
        Job(job=f"M-{n}", pump=pump, scope="full", build_on=date(2026, 4, 1 + n % 28), batch=batch) for n in numbers
    )
    mark_shop()


@pytest.mark.django_db
def test_many_rows_take_the_same_number_of_statements_as_few(small_shop, reader):
    """Three rows and thirty of each kind, forty jobs and four hundred."""
    add_rows(range(3))
    add_jobs(range(40))
    few = count_statements(reader)
    add_rows(range(3, 30))
    add_jobs(range(40, 400))
    assert count_statements(reader) == few


@pytest.mark.django_db(transaction=True)
def test_no_page_asks_more_than_so_often_where_nothing_was_written_since(small_shop, reader):
    add_rows(range(30))
    count_statements(reader)
    asked = count_statements(reader, anew=False)
    assert {address: many for address, many in asked.items() if many > MOST} == {}


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["/jobs/J-2/", "/work-hours/"])
def test_a_page_reads_the_settings_once_and_the_next_page_reads_them_anew(small_shop, reader, address):
    for day, says in (("2026-03-04", "4 Mar 2026"), ("2026-03-05", "5 Mar 2026")):
        Setting.objects.filter(folded="today").update(value=day)
        with CaptureQueriesContext(connection) as asked:
            page = reader.get(address).content.decode()
        assert sum('FROM "catalog_setting"' in one["sql"] for one in asked) == 1
        assert f"The day stands still at {says}" in " ".join(page.split())


@pytest.mark.django_db
def test_statement_in_a_template_is_refused():
    """The guard itself: a page that is handed a query instead of rows fails instead of asking."""
    with pytest.raises(StatementWhileRendering, match="may not ask the database"):
        render_to_string("web/search.html", {"asked": "x", "hits": Group.objects.all()})
