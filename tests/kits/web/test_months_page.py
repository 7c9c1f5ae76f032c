"""The page of the storeroom in numbers: a month beside those before it, each number open to its rows."""

import pytest

from kits.picking.models import PickLine, WrongScan
from kits.picking.months.sheet import Month
from tests.kits.web.hands import tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
PAGE = "/storeroom/month/"


@pytest.fixture
def picked(clerk):
    tap(clerk, "/picking/start/", {"job": "J-1"}, on="/picking/")
    line = PickLine.objects.first()
    page = f"/picking/{line.pick_round_id}/"
    tap(clerk, f"{page}lines/{line.pk}/scan/", {"code": "LOT BA-1 B-7"}, on=f"{page}?line={line.pk}")
    tap(clerk, f"{page}lines/{line.pk}/", {"full": "1"}, on=f"{page}?line={line.pk}")
    return clerk


def test_each_number_opens_to_its_rows(picked):
    answer = picked.get(PAGE)
    sheet = sheet_of(answer)
    assert "1 line was picked so far, none short. 1 wrong scan" in sheet
    assert "Wrong scans are kept since" in sheet
    month = answer.context["sheet"].month.name
    rows = sheet_of(picked.get(f"{PAGE}wrong/?month={month}"))
    assert "1 row: times a bin, packet or bag was scanned that does not belong to the line" in rows
    assert "This is BA-1, lot B-7;" in rows
    assert WrongScan.objects.get().text == "LOT BA-1 B-7"


def test_a_month_of_its_own_by_the_address(picked):
    first_on = picked.get(PAGE).context["sheet"].month.first_on
    before = Month(first_on).moved(-1)
    sheet = sheet_of(picked.get(f"{PAGE}?month={before.name}"))
    assert f"The storeroom in {before.says}" in sheet
    assert "No line was picked." in sheet
    assert picked.get(f"{PAGE}?month=never").context["sheet"].month.first_on == first_on
    assert picked.get(f"{PAGE}paint/").status_code == 404


def test_the_figures_and_their_rows_go_out_as_files(picked):
    text = picked.get(f"{PAGE}?export=csv").content.decode("utf-8-sig")
    assert text.splitlines()[0].startswith("Figure")
    assert "Lines picked" in text
    rows = picked.get(f"{PAGE}lines/?export=csv").content.decode("utf-8-sig").splitlines()
    assert len(rows) == 2
