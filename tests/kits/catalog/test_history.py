"""Who changed an entry of the back office: before, after, who, when and why, and nothing told twice."""

import re
from datetime import UTC, datetime

import pytest
from django.contrib import admin
from django.contrib.auth.models import Group, Permission
from django.db import connection
from django.db.models import signals
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from bom.values import ONE
from kits.catalog.back_office.actions import delete_rows
from kits.catalog.back_office.records import RecordAdmin
from kits.catalog.caching.revisions import read_marks
from kits.catalog.history.versions import keeps_versions, versions_of
from kits.catalog.models import Item, OtherNumber, Setting, StructureLine
from kits.exchange.actions import load_files
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.sheet_files import open_file
from kits.people.models import User
from kits.people.roles import STOREROOM_CLERK
from kits.service.arrival_models import Arrival

pytestmark = pytest.mark.django_db
WHY = {"why": "the drawing says so"}
EDITED = [model for model, office in admin.site._registry.items() if isinstance(office, RecordAdmin)]
ON_PAGES = [Arrival]
"""Tables that pages write, which keep past versions as the back office does."""
BELOW = [inline.model for office in admin.site._registry.values() for inline in office.inlines]


@pytest.fixture
def office(client):
    """Somebody who may change everything, at the back office."""
    user = User.objects.create_user("ada", first_name="Ada", last_name="Wold", is_staff=True, is_superuser=True)
    client.force_login(user)
    return client


@pytest.fixture
def ring():
    return Item.objects.create(
        part_number="OR-1", description="ring", kind="part", stock_unit="each", safety_stock=5 * ONE // 2
    )


def address(row, what="history", *more):
    return reverse(f"admin:{row._meta.app_label}_{row._meta.model_name}_{what}", args=[row.pk, *more])


def fields_of(office, row):
    """What the form of an entry holds, as a browser would send it back."""
    form = office.get(address(row, "change")).context["adminform"].form
    names = [name for name in form.fields if name != "why"]
    values = {name: form[name].value() for name in names}
    shown = {name: form.fields[name].prepare_value(value) for name, value in values.items()}
    below = {"other_numbers-TOTAL_FORMS": "0", "other_numbers-INITIAL_FORMS": "0"} if isinstance(row, Item) else {}
    return {
        name: "on" if value is True else value for name, value in shown.items() if value not in (None, False)
    } | below


def change(office, row, **changed):
    answer = office.post(address(row, "change"), fields_of(office, row) | WHY | changed)
    assert answer.status_code == 302, answer.context["errors"]


def read(office, where):
    """The cells of each row of a page's tables, as people read them."""
    page = office.get(where)
    assert page.status_code == 200
    content = page.content.decode().split('id="content-main"')[1]
    rows = [row for row in re.findall(r"<tr>(.*?)</tr>", content, re.S) if 'scope="col"' not in row]
    return [
        [re.sub(r"<[^>]*>|\s+", " ", cell).strip() for cell in re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", row, re.S)]
        for row in rows
    ]


def upload(text, tmp_path, name="items.csv", **options):
    path = tmp_path / name
    path.write_text(text)
    findings = Findings()
    files = [open_file(path, findings)]
    load_files(files=files, by=None, at=datetime(2026, 3, 4, 9, tzinfo=UTC), findings=findings, **options)
    assert not findings.problems, findings.problems


def test_a_change_is_told_with_before_after_who_when_and_why(office, ring, time_machine):
    time_machine.move_to(datetime(2026, 3, 4, 9, 30, tzinfo=UTC), tick=False)
    change(office, ring, safety_stock="4", material="FKM")
    rows = read(office, address(ring))
    assert ["4 Mar 2026, 09:30", "Ada Wold", "Material", "–", "FKM", "the drawing says so"] in rows
    assert ["Safety stock", "2.5", "4"] in rows
    assert rows[-1][:3] == ["before 4 Mar 2026, 09:30", "–", "as it stood"]


def test_an_entry_that_is_saved_as_it_stood_gives_no_history(office, ring):
    change(office, ring)
    assert not versions_of(Item).exists()
    assert "Nothing was changed here by hand." in office.get(address(ring)).content.decode()


def test_a_change_without_a_reason_is_refused_in_a_sentence(office, ring):
    answer = office.post(address(ring, "change"), fields_of(office, ring) | {"description": "O-ring"})
    assert "Write why the entry is changed" in answer.content.decode()
    ring.refresh_from_db()
    assert ring.description == "ring"


def test_an_entry_is_added_without_a_reason_and_told(office):
    office.post(reverse("admin:catalog_setting_add"), {"name": "workdays", "value": "Mon Tue"})
    rows = read(office, address(Setting.objects.get()))
    assert [row[1:4] for row in rows] == [["Ada Wold", "added", "–"]]


def test_an_upload_adds_nothing_and_is_not_blamed_on_the_next_who_edits(office, ring, tmp_path):
    change(office, ring, description="O-ring")
    kept = versions_of(Item).count()
    upload("part_number,description,kind,stock_unit\nOR-1,packing,part,each\n", tmp_path)
    ring.refresh_from_db()
    assert (ring.description, versions_of(Item).count()) == ("packing", kept)
    change(office, ring, material="FKM")
    told = read(office, address(ring))
    assert told[0][1:] == ["Ada Wold", "Material", "–", "FKM", "the drawing says so"]
    assert told[1][1:5] == ["–", "Description", "O-ring", "packing"]
    assert told[1][5].startswith("elsewhere")
    assert told[2][1:5] == ["Ada Wold", "Description", "ring", "O-ring"]


def test_no_load_whether_it_adds_changes_or_removes_keeps_a_version(tmp_path):
    head = "part_number,description,kind,stock_unit,other_numbers\n"
    upload(head + "OR-1,ring,part,each,A1; A2\nOR-2,ring,part,each,B1\n", tmp_path)
    upload(head + "OR-1,O-ring,part,each,A3\n", tmp_path, replaced=frozenset({"Items"}))
    assert list(OtherNumber.objects.values_list("number", flat=True)) == ["A3"]
    assert not Item.objects.filter(part_number="OR-2").exists()
    assert not any(versions_of(model).exists() for model in (*EDITED, *BELOW))


@pytest.mark.parametrize("model", [*EDITED, *BELOW], ids=lambda model: model._meta.model_name)
def test_every_table_edited_by_hand_keeps_versions_and_pays_nothing_elsewhere(model):
    assert keeps_versions(model)
    for signal in (signals.post_save, signals.pre_delete, signals.post_delete):
        assert not signal.has_listeners(model)
    fields = versions_of(model).model._meta.concrete_fields
    links = [field for field in fields if field.is_relation and field.name != "history_user"]
    assert not [field.name for field in links if field.db_constraint]


def test_many_rows_are_still_deleted_by_one_statement(ring):
    OtherNumber.objects.bulk_create(OtherNumber(item=ring, number=f"A{number}") for number in range(3))
    with CaptureQueriesContext(connection) as asked:
        ring.other_numbers.all().delete()
    assert len(asked) == 1


def test_other_numbers_are_told_with_their_item(office, ring):
    below = {"other_numbers-TOTAL_FORMS": "1", "other_numbers-0-number": "A1", "other_numbers-0-item": ring.pk}
    change(office, ring, **below)
    number = OtherNumber.objects.get()
    below |= {"other_numbers-INITIAL_FORMS": "1", "other_numbers-0-id": number.pk}
    change(office, ring, **below | {"other_numbers-0-number": "A2"})
    change(office, ring, **below | {"other_numbers-0-number": "A2", "other_numbers-0-DELETE": "on"})
    assert not OtherNumber.objects.exists()
    told = [row[1:] for row in read(office, address(ring))]
    assert told == [
        ["Ada Wold", "A2 deleted", "the drawing says so"],
        ["Ada Wold", "Number of A2", "A1", "A2", "the drawing says so"],
        ["Ada Wold", "A1 added", "the drawing says so"],
    ]


def test_what_was_deleted_can_still_be_read_when_all_that_it_named_is_gone(office, ring):
    end = Item.objects.create(part_number="E-1", description="end", kind="assembly", stock_unit="each")
    line = StructureLine.objects.create(parent=end, child=ring, quantity=2 * ONE, at_rebuild="renew", position="lid")
    where = address(line)
    for row in (line, end, ring):
        answer = office.post(address(row, "delete"), {"post": "yes", **WHY})
        assert answer.status_code == 302
    assert not StructureLine.objects.exists()
    assert not Item.objects.exists()
    page = office.get(where).content.decode()
    assert "E-1 / OR-1 lid (no longer there)" in page
    gone = read(office, where)[0]
    assert gone[1:] == ["Ada Wold", "deleted", "the drawing says so"]
    last = versions_of(StructureLine).first()
    held = dict(read(office, reverse("admin:catalog_structureline_simple_history", args=[last.id, last.history_id])))
    assert (held["Parent"], held["Child"], held["Quantity"]) == ("E-1 (deleted)", "OR-1 (deleted)", "2")
    assert read(office, reverse("admin:catalog_structureline_deleted"))[0][2] == "E-1 / OR-1 lid"


def test_nothing_is_deleted_without_a_reason(office, ring):
    answer = office.post(address(ring, "delete"), {"post": "yes", "why": " "}, follow=True)
    assert "Nothing was deleted: write why" in answer.content.decode()
    chosen = {"action": "delete_selected", "_selected_action": [ring.pk], "post": "yes"}
    answer = office.post(reverse("admin:catalog_item_changelist"), chosen)
    assert "Nothing was deleted: write why" in answer.content.decode()
    assert 'name="why"' in answer.content.decode()
    assert Item.objects.exists()


def test_chosen_entries_are_deleted_with_what_hangs_on_them_and_told(office, ring):
    OtherNumber.objects.create(item=ring, number="A1")
    before = read_marks()[0]
    chosen = {"action": "delete_selected", "_selected_action": [ring.pk], "post": "yes", **WHY}
    assert office.post(reverse("admin:catalog_item_changelist"), chosen).status_code == 302
    assert not Item.objects.exists()
    assert read_marks()[0] != before
    assert [(kept.named, kept.history_type) for kept in versions_of(Item)] == [("OR-1", "-"), ("OR-1", "~")]
    assert [kept.named for kept in versions_of(OtherNumber).filter(history_type="-")] == ["A1"]


@pytest.mark.django_db(transaction=True)
def test_marks_history_and_deletion_stand_or_fall_together(ring, monkeypatch):
    before = read_marks()
    monkeypatch.setattr("kits.catalog.back_office.actions.keep_versions", lambda *args, **kwargs: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        delete_rows(rows=Item.objects.all(), of_catalog=True, by=None, at=datetime.now(tz=UTC), why="x")
    assert Item.objects.exists()
    assert read_marks() == before


def test_who_may_see_but_not_change_reads_the_history_and_restores_nothing(client, office, ring):
    change(office, ring, description="O-ring")
    clerk = User.objects.create_user("bea", is_staff=True)
    clerk.groups.add(Group.objects.get(name=STOREROOM_CLERK.name))
    client.force_login(clerk)
    assert any("Ada Wold" in row for row in read(client, address(ring)))
    form = client.get(address(ring, "change")).content.decode()
    assert "field-description" in form
    assert "field-why" not in form
    first = versions_of(Item).last()
    whole = address(ring, "simple_history", first.history_id)
    assert ["Description", "ring"] in read(client, whole)
    assert client.post(whole, {"part_number": "OR-1", "description": "ring"}).status_code == 405
    ring.refresh_from_db()
    assert ring.description == "O-ring"


def test_nobody_puts_an_old_version_back_past_the_marks(office, ring):
    change(office, ring, description="O-ring")
    whole = address(ring, "simple_history", versions_of(Item).last().history_id)
    before = read_marks()
    assert office.post(whole, fields_of(office, ring) | {"description": "ring"}).status_code == 405
    assert read_marks() == before
    assert not re.search(
        r'type="submit"', re.sub(r"<form id=.logout.*?</form>", "", read_page(office, whole), flags=re.S)
    )


def read_page(office, where):
    return office.get(where).content.decode()


def test_past_versions_may_only_be_looked_at():
    codes = Permission.objects.filter(codename__contains="_historical").values_list("codename", flat=True)
    assert len(codes) == len({*EDITED, *BELOW, *ON_PAGES})
    assert {code.split("_")[0] for code in codes} == {"view"}


def test_the_last_row_of_a_page_says_what_it_changed(office, ring, monkeypatch):
    for description in ("one", "two", "three"):
        change(office, ring, description=description)
    monkeypatch.setattr(RecordAdmin, "history_list_per_page", 2)
    assert [row[3:5] for row in read(office, address(ring))] == [["two", "three"], ["one", "two"]]


@pytest.mark.parametrize("where", ["nonsense/history/", "99/history/", "nonsense/history/1/", "99/history/x/"])
def test_what_never_was_is_not_found(office, where):
    assert office.get(f"/back-office/catalog/setting/{where}").status_code == 404


def test_the_history_says_where_uploads_keep_theirs(office, ring):
    assert f'href="{reverse("upload_history")}"' in read_page(office, address(ring))
