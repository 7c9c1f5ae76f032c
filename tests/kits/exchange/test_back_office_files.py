"""Lists of the back office go out as files, and lead to the checked upload; the library's own way in is closed."""

import io
import json

import pytest
from django.contrib import admin
from django.core.management import CommandError, call_command
from openpyxl import load_workbook

from kits.catalog.models import Item, StructureLine
from kits.people.models import User
from kits.stock.models import Movement


@pytest.fixture
def office(client, db):
    client.force_login(User.objects.create_superuser("boss"), backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def ring(db):
    return Item.objects.create(part_number="0012", description="=1+1", kind="part", stock_unit="each", material="steel")


def export(office, address, kind):
    page = office.get(address)
    assert page.status_code == 200
    choices = {label: value for value, label in page.context["form"].fields["format"].choices}
    return office.post(address, {"format": choices[kind], "resource": "0"})


@pytest.mark.parametrize("kind", ["Workbook (.xlsx)", "Comma-separated text (.csv)", "json"])
def test_what_the_list_shows_goes_out_as_it_is_shown(office, ring, kind):
    answer = export(office, "/back-office/catalog/item/export/", kind)
    if kind.startswith("Workbook"):
        sheet = load_workbook(io.BytesIO(answer.content)).active
        headings, row = ([cell.value for cell in one] for one in sheet.iter_rows())
        assert sheet["B2"].data_type == "s"  # text, not a formula
    elif kind == "json":
        found = json.loads(answer.content)[0]
        headings, row = list(found), list(found.values())
    else:
        headings, row = (line.split(",") for line in answer.content.decode("utf-8-sig").splitlines())
        assert row[1] == "'=1+1"
        row[1] = "=1+1"
    assert [heading.lower() for heading in headings[:3]] == ["part number", "description", "kind"]
    assert row[:3] == ["0012", "=1+1", ring.get_kind_display()]


def test_only_the_rows_that_are_filtered_go_out(office, ring):
    Item.objects.create(part_number="PU-1", description="pump", kind="pump", stock_unit="each")
    answer = export(office, "/back-office/catalog/item/export/?kind__exact=pump", "Comma-separated text (.csv)")
    assert b"PU-1" in answer.content
    assert b"0012" not in answer.content


def test_import_leads_to_the_checked_upload_of_that_sheet(office, ring):
    page = office.get("/back-office/catalog/item/").content.decode()
    assert 'href="/upload/?sheet=Items"' in page
    assert "Items</strong>" in office.get("/upload/?sheet=Items").content.decode()
    assert office.get("/back-office/catalog/item/import/").status_code in (302, 404)


def test_every_table_of_the_shop_in_the_back_office_goes_out(office):
    for model in admin.site._registry:
        if model.__module__.startswith("kits.") and model is not User:
            assert "export" in str(admin.site.get_model_admin(model).get_urls()), model
    assert office.get("/back-office/stock/movement/export/").status_code == 200
    assert {StructureLine, Movement} <= set(admin.site._registry)


@pytest.mark.parametrize(("command", "instead"), [("import", "manage.py load"), ("export", "manage.py dump")])
def test_commands_of_the_library_are_closed(command, instead):
    with pytest.raises(CommandError, match=instead):
        call_command(command, "kits.catalog.models.Item", "items.csv")
