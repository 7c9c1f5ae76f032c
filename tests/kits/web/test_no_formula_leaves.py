"""Whatever a text starts with, no file that leaves the site makes a spreadsheet program run it."""

import csv
import io
import re
import zipfile

import openpyxl
import pytest

from kits.catalog.models import Item
from kits.purchasing.models import Supplier
from kits.schedule.models import Job
from kits.stock.models import Lot

pytestmark = pytest.mark.django_db
EVIL = '=HYPERLINK("http://example.com/";"x")'
TABLES = ("/purchasing/", "/storeroom/")
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


@pytest.mark.parametrize("address", FILES)
def test_no_text_leaves_as_a_formula(small_shop, reader, address):
    Item.objects.update(description=EVIL, notes=EVIL, material="=1+1")
    Job.objects.update(customer=EVIL)
    Lot.objects.update(owner="", maker_batch="@SUM(A1)")
    Supplier.objects.update(supplier=EVIL)
    answer = reader.get(address)
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
