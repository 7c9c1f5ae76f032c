"""All that the demo is surely short of: drafted, sent, confirmed, promised late, chased, taken in by pages.

What is expected is counted by hand from the demo's lists: six parts are surely short, of three suppliers.
"""

import re
from datetime import date

import pytest
from django.db.models import F

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import Setting
from kits.people.roles import PURCHASING, STOREROOM_CLERK
from kits.planning.lists.order_rows import order_rows
from kits.planning.queries import plan_now, reading_of
from kits.purchasing.models import OrderLine, PurchaseOrder, SupplierCall
from kits.stock.queries import ledger_differences
from tests.kits.persons import person_of
from tests.kits.web.hands import send
from tests.kits.web.shops import load_demo, sheet_of

pytestmark = pytest.mark.django_db
SHORT = {
    "BR-112": {"J-3106", "J-3112"},
    "CS-34-U": {"J-3122", "J-3124"},
    "K-D6": {"J-3124"},
    "K-E12F": {"J-3117"},
    "OR-011-F75X": {"J-3110"},
    "SE-M": {"J-3118", "J-3122", "J-3124"},
}


def sit_down(client, role):
    client.force_login(person_of(role.name, role.name.split()[-1].lower()))


def short():
    """Part -> jobs that need it, of what is surely short."""
    rows = order_rows(plan_now(), "")
    return {row.part_number: {one.name for one in row.due.jobs} for row in rows if row.why == "sure"}


def order_all(client):
    """Draft what is ticked, send each order and take what its supplier confirms: as it stands, by three suppliers."""
    send(client, "/purchasing/draft/")
    orders = list(PurchaseOrder.objects.order_by("number"))
    assert len(orders) == 3
    for order in orders:
        send(client, f"/purchasing/orders/sheet/{order}/", f"/purchasing/draft/{order.pk}/send/")
        compared = send(client, f"/purchasing/orders/confirm/{order}/")
        assert "as it stands" in sheet_of(compared)
        assert "Every line is promised" in sheet_of(send(client, compared, source="Mrs Ives, by telephone"))
    return orders


def jobs_told(client, order):
    return set(re.findall(r"J-\d+", sheet_of(client.get(f"/purchasing/orders/sheet/{order}/"))))


def move_day(day):
    mark_shop()
    Setting.objects.filter(name="today").update(value=f"{day}")


def chase(client, line):
    """Its day has passed: it is to be asked about, the call is kept, and it gets another day."""
    page = f"/purchasing/lines/{line.pk}/"
    assert f"{line.order}, {line.line}" in sheet_of(client.get("/purchasing/chase/"))
    called = send(
        client, page, f"{page}call/", asked="Mr Abel", said="the lathe stood still", next_call_on="2026-03-24"
    )
    assert called.status_code == 200
    assert SupplierCall.objects.get().said == "the lathe stood still"
    moved = send(client, page, f"{page}promise/", promised_on="2026-03-24", reason="Mr Abel, by telephone")
    assert "Promised for 24 Mar 2026" in sheet_of(moved)


def take_in(client, line, cure=""):
    said = {"quantity_1": line.quantity // ONE, "cure_1": cure, "certificate_1": f"C-{line.order}-{line.line}"}
    assert "is received: lot" in sheet_of(send(client, f"/storeroom/receive/lines/{line.pk}/", **said))


def test_all_that_is_surely_short_is_bought_through_the_pages(client):
    load_demo()
    assert short() == SHORT
    sit_down(client, PURCHASING)
    orders, jobs = order_all(client), set().union(*SHORT.values())
    assert short() == {}, "all of it is on order now"
    assert set().union(*(jobs_told(client, order) for order in orders)) >= jobs
    lines = OrderLine.objects.filter(order__in=[order.number for order in orders])
    assert {line.item.part_number for line in lines} == set(SHORT)
    move_day(date(2026, 3, 23))
    chase(client, lines.get(item__part_number="SE-M"))
    move_day(date(2026, 3, 26))
    sit_down(client, STOREROOM_CLERK)
    for line in lines:
        take_in(client, line, "1Q26" if line.item.shelf_life_months else "")
    assert not lines.filter(quantity__gt=F("received_quantity")).exists()
    shown = {asker.name: asker.status for asker in reading_of(plan_now()).askers if asker.name in jobs}
    assert {job for job, status in shown.items() if status == "ready"} == {"J-3106", "J-3110"}, (
        "they waited for no more"
    )
    assert {status for job, status in shown.items() if status != "ready"} == {"waiting"}, "for what was on order before"
    assert short() == {}
    assert ledger_differences() == []
