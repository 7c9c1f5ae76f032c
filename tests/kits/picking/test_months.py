"""The month of the storeroom in numbers: each is the count of its rows, and what was taken back is in none."""

from datetime import UTC, date, datetime

import pytest
from django.db.migrations.loader import MigrationLoader

from bom.values import ONE
from kits.picking.actions import confirm_line, undo_line
from kits.picking.bags.actions import issue_extra
from kits.picking.errors import PickRefusal
from kits.picking.models import WrongScan
from kits.picking.months import sheet
from kits.picking.months.figures import FIGURE, FIGURES, SCANS_KEPT, scans_kept_since
from kits.picking.months.sheet import Month, month_rows, month_sheet
from kits.picking.scanning.actions import scan_on_line
from kits.stock.actions import count_shelf, scrap_stock
from kits.stock.ledger import OnShelf
from kits.stock.models import Lot, Posting
from tests.kits.picking.bench_shop import BenchShop, full, line_of

pytestmark = pytest.mark.django_db
MARCH, FEBRUARY = Month(date(2026, 3, 1)), Month(date(2026, 2, 1))
FIRST, LAST = datetime(2026, 3, 1, 0, 0, tzinfo=UTC), datetime(2026, 3, 31, 23, 59, tzinfo=UTC)


@pytest.fixture
def shop():
    return BenchShop()


def numbers(month=MARCH):
    return {row.figure.name: row.last for row in month_sheet(month).rows}


def shelf(shop, lot, place):
    return OnShelf(Lot.objects.get(lot=lot).pk, shop.places[place].pk)


def test_a_month_by_hand(shop, monkeypatch):
    """Of 3 lines one is short and one taken back; one wrong scan; one extra; one count of two off; one lot too old."""
    monkeypatch.setattr(sheet, "scans_kept_since", lambda: date(2026, 1, 5))
    before = numbers()
    job = shop.job("J-1")
    made = shop.start(job)
    said = {"by": shop.clerk, "at": FIRST}
    for part in ("K-END", "OR-210-N70"):
        line = line_of(made, part)
        confirm_line(line=line, quantities=full(line), request_key=part, **said)
    undo_line(line=line_of(made, "K-END"), by=shop.clerk, at=LAST, request_key="undo")
    nut = line_of(made, "NUT")
    with pytest.raises(PickRefusal, match=r"This is OR-210-N70, lot N-70; line 3 wants NUT, lot H-1, from H1"):
        scan_on_line(line=nut, text="LOT OR-210-N70 N-70", key="scan", **said)
    confirm_line(line=nut, quantities={job.pk: 3 * ONE}, reason="rusty", request_key="nut", **said)
    issue_extra(job=job, source=shelf(shop, "H-1", "H1"), quantity=ONE, reason="lost at the bench", key="extra", **said)
    counted = {"reason": "counted", "key": "count", **said}
    count_shelf(account=shelf(shop, "C-1", "A2"), counted=998 * ONE, **counted)
    shop.stock("NUT", "OLD", "A2", 5, printed_last_use_on=date(2026, 2, 28))
    old = {"source": shelf(shop, "OLD", "A2"), "reason": "past its day", "key": "old", **said}
    scrap_stock(quantity=5 * ONE, **old)
    scrap_stock(source=shelf(shop, "S-1", "A2"), quantity=ONE, reason="dropped", key="dropped", **said)
    assert {name: number for name, number in numbers().items() if number != before[name]} == {
        "lines": 2, "short": 1, "undone": 1, "besides": 1, "differed": 1, "aged": 1, "wrong": 1,
    }  # fmt: skip
    assert {name: count for name, count in numbers(FEBRUARY).items() if count} == {}
    for figure in FIGURES:
        assert len(month_rows(figure, MARCH)) == (numbers()[figure.name] or 0), figure.name
    (row,) = month_rows(FIGURE["short"], MARCH)
    assert (row.part_number, row.lot, row.where, row.quantity.text, row.by) == ("NUT", "H-1", "H1", "3", "clerk")
    assert row.says.endswith("asked for 4; rusty")
    (row,) = month_rows(FIGURE["differed"], MARCH)
    assert (row.part_number, row.quantity.text) == ("CORD", "-2 mm")


def test_a_wrong_scan_is_kept_once_and_books_nothing(shop):
    line = line_of(shop.start(shop.job("J-1")), "NUT")
    said = {"line": line, "by": shop.clerk, "at": FIRST}
    for _ in range(2):
        with pytest.raises(PickRefusal, match="Nothing was booked"):
            scan_on_line(text="PLACE A1", key="scan", **said)
    with pytest.raises(PickRefusal, match="Scan the bin or the packet first"):
        scan_on_line(text="BAG 1", key="bag", **said)
    kept = WrongScan.objects.get()
    assert (kept.text, kept.by, kept.at) == ("PLACE A1", shop.clerk, FIRST)
    assert not Posting.objects.filter(kind="pick").exists()
    scan_on_line(text="PLACE H1", key="right", **said)
    assert WrongScan.objects.count() == 1, "what is right is not kept as wrong"


def test_a_month_before_scans_were_kept_has_no_number_for_them(shop):
    since = scans_kept_since()
    assert SCANS_KEPT in MigrationLoader(None).disk_migrations
    kept = Month(since.replace(day=1))
    rows = {row.figure.name: row.numbers for row in month_sheet(kept).rows}
    assert rows["wrong"] == (None,) * 5 + (0,)
    assert rows["lines"] == (0,) * 6


def test_months_run_over_the_new_year():
    assert [Month(date(2026, 1, 1)).moved(n).name for n in (-1, 0, 12)] == ["2025-12", "2026-01", "2027-01"]
    assert Month(date(2026, 12, 1)).after.says == "January 2027"
