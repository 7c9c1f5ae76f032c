"""Whatever a text starts with, no file that leaves the site makes a spreadsheet program run it."""

import csv
import io
import re
import uuid
import zipfile
from pathlib import Path

import openpyxl
import pytest
from django.db.models import Value
from django.db.models.functions import Concat

from kits.catalog.models import Item
from kits.people.models import User
from kits.planning.weeks.actions import keep_answers
from kits.purchasing.models import Supplier
from kits.schedule.models import Job
from kits.stock.counts.actions import begin_count
from kits.stock.models import Lot, Place
from tests.keeping import keeping_plans, taken_back
from tests.kits.exchange.books import AT
from tests.kits.persons import person_of
from tests.kits.web.shops import load_small

pytestmark = pytest.mark.django_db
VIEWS = Path(__file__).parents[3] / "kits" / "web" / "views"
EVIL = '=HYPERLINK("http://example.com/";"x")'
TABLES = (
    "/shortages/",
    "/batch-sheets/kinds/spring/",
    "/batch-sheets/changes/spring/",
    "/new-jobs/",
    "/job-list/",
    "/uses/OR-014/",
    "/purchasing/",
    "/purchasing/due/",
    "/purchasing/offers/",
    "/purchasing/rates/",
    "/purchasing/outside/?show=all",
    "/purchasing/no-longer-made/",
    "/purchasing/quotes/",
    "/purchasing/replies/",
    "/pumps-and-parts/?kind=part",
    "/upload/history/",
    "/purchasing/requests/",
    "/purchasing/comparison/?whose=record",
    "/purchasing/comparison/parts/?whose=record",
    "/purchasing/orders/",
    "/purchasing/chase/",
    "/purchasing/suppliers/",
    "/purchasing/returns/",
    "/storeroom/",
    "/storeroom/receive/",
    "/storeroom/put-away/",
    "/storeroom/movements/",
    "/storeroom/quarantine/",
    "/storeroom/disposal/",
    "/storeroom/disposal/record/",
    "/storeroom/bench/",
    "/storeroom/month/",
    "/storeroom/month/differed/",
    "/storeroom/returns/",
    "/storeroom/counts/",
    "/storeroom/counts/COUNT/",
    "/storeroom/first/",
    "/storeroom/certificates/",
    "/storeroom/labels/",
    "/storeroom/ending/",
    "/storeroom/use-first/",
    "/storeroom/top-up/",
    "/storeroom/customers/",
    "/storeroom/worth/",
    "/storeroom/kits/",
    "/storeroom/suspects/",
    "/storeroom/suspects/LOT/",
    "/gauges/",
    "/quotes/J-1/",
    "/work-hours/",
    "/records/J-1/",
    "/serials/S-77/",
    "/codes/",
    "/place-labels/",
    "/freeing/",
    "/waiting/",
    "/changes/",
    "/week/?list=jobs",
    "/week/?list=promises",
    "/week/?list=robbed",
    "/fluids/",
    "/people/",
    "/roles/",
    "/who-changed-what/",
    "/how-sure/",
    "/list-care/",
    "/list-care/changes/",
    "/proposed-days/",
    "/what-was-seen/",
    "/storeroom/rings/?inside=12.5&section=1.8&unit=mm",
)
"""Every page with a list that leaves as a file; the test below finds those that are missing."""
FILES = [
    "/upload/lists/", "/upload/lists/?as=text", "/upload/lists/?as=text&decimal=comma", "/upload/templates/",
    *(f"/upload/lists/?as=text&sheet={name}" for name in ("Items", "Schedule", "Lots", "Suppliers", "Offers")),
    "/shortages/workbook/",
    *(f"{page}{'&' if '?' in page else '?'}export={kind}" for page in TABLES for kind in ("csv", "xlsx")),
]  # fmt: skip
OWN_TOTAL = re.compile(r"=(SUM|SUBTOTAL|SUMIFS?|COUNTA?|ROUND)\(|=Shortages!F\d+$")
"""Our own totals and their sums; everything else that is a formula came from a text."""


def cells_of(name, content):
    if name.endswith(".zip"):
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return [cell for one in archive.namelist() for cell in cells_of(one, archive.read(one))]
    if name.endswith(".xlsx"):
        book = openpyxl.load_workbook(io.BytesIO(content))
        cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
        return [("f" if cell.data_type == "f" else "s", str(cell.value)) for cell in cells if cell.value is not None]
    text = content.decode("utf-8-sig")
    delimiter = ";" if text.split("\n")[0].count(";") > text.split("\n")[0].count(",") else ","
    return [("t", cell) for row in csv.reader(io.StringIO(text), delimiter=delimiter) for cell in row]


@pytest.fixture(scope="module")
def shop(django_db_setup, django_db_blocker):
    """The shop of which no file may run a text, for all tests; its planner, and what stands in addresses for words.

    These are a lot and a sheet on which it is counted. The plan's answers are kept as well, for one page sets later
    ones against them.
    """
    with django_db_blocker.unblock(), taken_back(), keeping_plans():
        load_small()
        planner, lot = person_of("Planner", "planner", first_name="Pat"), Lot.objects.get(lot="L-1")
        balances = [balance.pk for balance in lot.balances.all()]
        count = begin_count(balance_ids=balances, by=planner, at=AT, key=str(uuid.uuid4()))
        keep_answers(by=planner, at=AT, key="before")
        Item.objects.update(description=EVIL, notes=EVIL, material="=1+1")
        Job.objects.update(customer=EVIL)
        Lot.objects.update(maker_batch="@SUM(A1)", lot=Concat(Value("=1+"), "lot"))
        Place.objects.update(place=Concat(Value("@"), "place"))
        Supplier.objects.update(supplier=EVIL)
        yield planner, {"LOT": str(lot.pk), "COUNT": str(count.pk)}


def test_every_list_that_can_leave_is_tried():
    """Each view that asks for a file names the file; each of those names belongs to an address above."""
    sources = "".join(path.read_text(encoding="utf-8") for path in VIEWS.rglob("*.py"))
    titles = re.findall(r'list_answer\(request, f?"([^"{]+)', sources)
    assert len(titles) == sources.count("list_answer(")
    assert len(titles) == len(TABLES)


@pytest.mark.parametrize("address", FILES)
def test_no_text_leaves_as_a_formula(shop, client, address):
    planner, numbers = shop
    for word, number in numbers.items():
        address = address.replace(word, number)
    client.force_login(planner)
    if address.startswith(("/people/", "/who-changed-what/")):
        User.objects.update(first_name=EVIL)
        client.force_login(person_of("Administrator", "@chief", first_name=EVIL, is_staff=True))
    answer = client.get(address)
    found = re.search(r'filename="([^"]+)"', answer.headers.get("Content-Disposition", ""))
    assert found, f"{address} gives no file"
    cells = cells_of(found[1], answer.content)
    assert cells
    running = [
        text
        for kind, text in cells
        if (kind == "f" and not OWN_TOTAL.match(text))
        or (kind == "t" and text[:1] in ("=", "+", "-", "@", "\t") and not re.fullmatch(r"[+-]?[\d.,]+", text))
    ]
    assert running == []
