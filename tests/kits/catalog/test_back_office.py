import re

import pytest
from django.contrib import admin
from django.urls import reverse

from kits.catalog.caching.revisions import read_marks
from kits.catalog.models import Item, Setting
from kits.purchasing.models import Supplier
from kits.schedule.models import Batch, Job
from kits.stock.models import Lot
from tests.kits.exchange.books import SHOP, load_sheets

APPS = {"catalog", "schedule", "stock", "purchasing"}
READ_ONLY = {
    "requestline",
    "pricerequest",
    "balance",
    "jobchange",
    "jobstep",
    "movement",
    "posting",
    "receipt",
    "promisechange",
    "endofmaking",
    "exchangerate",
    "outsidework",
    "outsidepromise",
    "replyline",
    "supplierquote",
    "purchaseorder",
    "lineterms",
    "orderlinechange",
    "suppliercall",
    "supplierreturn",
}
SHOWN = [model for model in admin.site._registry if model._meta.app_label in APPS]
ITEM = {
    "description": "ring",
    "kind": "part",
    "stock_unit": "each",
    "cleanliness": "normal",
    "source": "buy",
    "issue": "counted",
    "safety_stock": "2.5",
    "how_sure_percent": "90",
    "resealed_usable": "on",
    "other_numbers-TOTAL_FORMS": "0",
    "other_numbers-INITIAL_FORMS": "0",
}


@pytest.mark.parametrize("model", SHOWN, ids=lambda model: model._meta.model_name)
def test_every_table_is_shown_and_only_the_ledger_is_closed(admin_client, model):
    name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
    page = admin_client.get(reverse(f"{name}_changelist"))
    assert page.status_code == 200
    is_open = model._meta.model_name not in READ_ONLY
    assert (reverse(f"{name}_add") in page.content.decode()) is is_open
    if is_open:
        assert admin_client.get(reverse(f"{name}_add")).status_code == 200


def test_an_item_is_added_and_marks_the_catalog(admin_client):
    before = read_marks()
    answer = admin_client.post(reverse("admin:catalog_item_add"), {**ITEM, "part_number": "OR-1"})
    assert answer.status_code == 302
    item = Item.objects.get()
    assert (item.folded, item.safety_stock) == ("or-1", 2_500_000)
    assert read_marks()[0] != before[0]


def test_a_second_spelling_of_a_number_is_refused_in_a_sentence(admin_client):
    admin_client.post(reverse("admin:catalog_item_add"), {**ITEM, "part_number": "OR-1"})
    answer = admin_client.post(reverse("admin:catalog_item_add"), {**ITEM, "part_number": "or–1"})
    assert "An item with this part number exists already, perhaps spelled otherwise." in answer.content.decode()
    assert Item.objects.count() == 1


def test_a_quantity_is_shown_as_it_was_typed(admin_client):
    admin_client.post(reverse("admin:catalog_item_add"), {**ITEM, "part_number": "OR-1"})
    page = admin_client.get(reverse("admin:catalog_item_change", args=[Item.objects.get().pk])).content.decode()
    assert 'name="safety_stock" value="2.5"' in page


def test_deleting_marks_the_shop(admin_client):
    batch = Batch.objects.create(name="March")
    before = read_marks()
    admin_client.post(reverse("admin:schedule_batch_delete", args=[batch.pk]), {"post": "yes", "why": "twice"})
    assert not Batch.objects.exists()
    assert read_marks()[1] != before[1]


def test_a_cure_date_is_read_as_it_is_typed(admin_client):
    item = Item.objects.create(part_number="OR-1", description="x", kind="part", stock_unit="each")
    lot = {"item": item.pk, "lot": "A", "cure": "4Q20"}
    admin_client.post(reverse("admin:stock_lot_add"), lot)
    assert str(Lot.objects.get().cure_on) == "2021-01-01"
    answer = admin_client.post(reverse("admin:stock_lot_add"), {**lot, "lot": "B", "cure": "last autumn"})
    assert "cannot be read" in answer.content.decode()
    assert Lot.objects.count() == 1


def ask_then_tick(client, address, form, question):
    """What a page says to a form with an odd day, and whether it takes it with the tick it shows then."""
    answer = client.post(address, form)
    assert answer.status_code == 200, "nothing is stored yet"
    assert question in answer.content.decode()
    (tick,) = re.findall(r'type="checkbox" name="meant" value="([^"]+)"', answer.content.decode())
    assert client.post(address, {**form, "meant": tick}).status_code == 302


def test_an_odd_day_is_asked_about_once(admin_client):
    assert load_sheets(SHOP).stored
    pump, ring = Item.objects.get(part_number="P-1"), Item.objects.get(part_number="OR-014")
    job = {"job": "J-7", "pump": pump.pk, "scope": "full", "build_on": "2026-03-15", "stage": "here"}
    job |= {"quantity": 1, "priority": 5, "cleanliness": "normal"}
    ask_then_tick(admin_client, reverse("admin:schedule_job_add"), job, "The shop is closed on Sunday 15 Mar 2026")
    kept = Job.objects.get(job="J-7")
    again = reverse("admin:schedule_job_change", args=[kept.pk])
    assert admin_client.post(again, {**job, "why": "another turn", "priority": 4}).status_code == 302, "it stands"
    need = {"need": "van", "item": ring.pk, "quantity": 2, "need_on": "2026-03-03", "priority": 5}
    ask_then_tick(admin_client, reverse("admin:schedule_otherneed_add"), need, "The day has passed")
    supplier = Supplier.objects.get()
    line = {"order": "PO-9", "line": "1", "supplier": supplier.pk, "item": ring.pk, "quantity": 5}
    line |= {"promised_on": "2028-03-06", "received_quantity": 0}
    ask_then_tick(admin_client, reverse("admin:purchasing_orderline_add"), line, "The day lies more than 2 years ahead")


def test_a_job_of_the_past_is_not_asked_about(admin_client):
    assert load_sheets(SHOP).stored
    pump = Item.objects.get(part_number="P-1")
    job = {"job": "J-7", "pump": pump.pk, "scope": "full", "build_on": "2019-03-15", "stage": "shipped"}
    job |= {"quantity": 1, "priority": 5, "cleanliness": "normal"}
    assert admin_client.post(reverse("admin:schedule_job_add"), job).status_code == 302
    given_up = {**job, "job": "J-8", "stage": "cancelled"}
    assert admin_client.post(reverse("admin:schedule_job_add"), given_up).status_code == 302
    kept, job = reverse("admin:schedule_job_change", args=[Job.objects.get(job="J-8").pk]), given_up
    assert "The day has passed" in admin_client.post(kept, {**job, "why": "back", "stage": "here"}).content.decode()


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("decimal_mark", "semicolon", "point"),
        ("staging_days", "soon", "staging_days"),
        ("pumps_per_day", "4", "Nothing uses a setting named pumps_per_day"),
    ],
)
def test_setting_typed_by_hand_is_checked_as_one_of_a_list(admin_client, name, value, says):
    page = admin_client.post(reverse("admin:catalog_setting_add"), {"name": name, "value": value})
    assert says in page.content.decode()
    assert not Setting.objects.filter(folded=name).exists()
    admin_client.post(reverse("admin:catalog_setting_add"), {"name": "decimal_mark", "value": "comma"})
    assert Setting.objects.get(folded="decimal_mark").value == "comma"
