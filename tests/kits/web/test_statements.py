"""Pages ask the database a fixed number of questions, whatever the number of rows, and none while they are rendered."""

from datetime import date

import pytest
from django.contrib.auth.models import Group
from django.db import connection
from django.template.loader import render_to_string
from django.test.utils import CaptureQueriesContext

from bom.values import ONE
from kits.catalog.models import Item, StructureLine
from kits.exchange.models import Upload
from kits.purchasing.models import OrderLine, Supplier
from kits.schedule.models import Batch, Job
from kits.stock.models import Balance, Lot, Place
from kits.web.render_guard import StatementWhileRendering

PAGES = [
    "/", "/schedule/", "/batches/spring/", "/shelf/spring/", "/jobs/J-2/", "/shortages/", "/shortages/?batch=spring",
    "/storeroom/", "/purchasing/", "/pumps-and-parts/?kind=part", "/pumps/P-1/", "/parts/OR-014/", "/kits/K-1/",
    "/upload/", "/search/?q=O", "/purchasing/due/", "/purchasing/offers/", "/purchasing/replies/",
]  # fmt: skip


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
        lot = Lot.objects.create(item=ring, lot=f"LO-{number}")
        Balance.objects.create(lot=lot, place=place, quantity=ONE)
        OrderLine.objects.create(
            order=f"PO-N{number}", line="1", supplier=supplier, item=ring, quantity=ONE, promised_on=date(2026, 3, 5)
        )
        Upload.objects.create(at="2026-03-04T09:00Z", state="withdrawn")


def count_statements(reader, address):
    with CaptureQueriesContext(connection) as asked:
        answer = reader.get(address)
    assert answer.status_code == 200
    return len(asked)


@pytest.mark.django_db
def test_three_rows_and_thirty_take_the_same_number_of_statements(small_shop, reader):
    add_rows(range(3))
    before = {address: count_statements(reader, address) for address in PAGES}
    add_rows(range(3, 30))
    assert {address: count_statements(reader, address) for address in PAGES} == before


@pytest.mark.django_db
def test_statement_in_a_template_is_refused():
    """The guard itself: a page that is handed a query instead of rows fails instead of asking."""
    with pytest.raises(StatementWhileRendering, match="may not ask the database"):
        render_to_string("web/search.html", {"asked": "x", "hits": Group.objects.all()})
