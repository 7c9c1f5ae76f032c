"""What somebody sees who waited in vain while another process stores a long list."""

import re
import sqlite3

import pytest
from django.contrib.auth.models import Group
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.db import OperationalError, connection
from django.urls import reverse

from bom.values import ONE
from kits.catalog.waiting import is_busy
from kits.exchange import actions
from kits.exchange.models import Upload, UploadState
from kits.people.models import User
from kits.planning.snapshot import shop as snapshot
from kits.stock.models import Balance, Posting
from tests.kits.web.hands import key_on
from tests.kits.web.shops import load_small, sheet_of

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif("connection.vendor != 'sqlite'", reason="PostgreSQL lets others write meanwhile"),
]


@pytest.fixture
def clerk(client, transactional_db):
    load_small()
    person = User.objects.create_user("clerk", password="brass-fitting")
    person.groups.add(Group.objects.get(name="Storeroom clerk"))
    client.force_login(person)
    return client


@pytest.fixture
def other_writer(clerk):
    """Another process that writes, and a connection of our own that does not wait long for it."""
    connection.cursor().execute("PRAGMA busy_timeout = 50")
    writer = sqlite3.connect(connection.settings_dict["NAME"], isolation_level=None)
    writer.execute("BEGIN IMMEDIATE")
    yield writer
    writer.close()


def test_what_was_typed_comes_back_and_is_posted_once_when_it_is_sent_again(clerk, other_writer):
    lot = Balance.objects.get(lot__lot="L-1", place__place="A1", condition="usable", packet="sealed")
    address = f"/storeroom/stock/{lot.pk}/?back=1"
    given = {
        "do": "scrap",
        "key": key_on(clerk, f"/storeroom/stock/{lot.pk}/", do="scrap"),
        "quantity": "2",
        "reason": 'nicked "twice" & cut',
    }
    answer = clerk.post(address, given)
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "10")
    assert "it is kept on this sheet" in sheet_of(answer)
    page = answer.content.decode()
    assert re.search(r'<form method="post" action="([^"]+)"', page).group(1) == address
    kept = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', page))
    assert kept.pop("csrfmiddlewaretoken", None) is not None
    assert kept == {**given, "reason": "nicked &quot;twice&quot; &amp; cut"}
    other_writer.execute("ROLLBACK")
    for _ in range(2):
        assert clerk.post(address, given).status_code == 302
    lot.refresh_from_db()
    assert lot.quantity == 10 * ONE
    assert Posting.objects.filter(kind="scrap").count() == 1


def test_a_file_has_to_be_chosen_again(clerk, other_writer):
    other_writer.execute("ROLLBACK")
    clerk.force_login(User.objects.create_superuser("admin"))
    other_writer.execute("BEGIN IMMEDIATE")
    answer = clerk.post("/upload/", {"lists": SimpleUploadedFile("items.csv", b"part_number,kind\nOR-014,part\n")})
    assert answer.status_code == 503
    assert "a file has to be chosen again" in sheet_of(answer)
    assert not Upload.objects.exists()


def test_the_form_of_a_file_is_found_where_it_stands(clerk, other_writer):
    lot = Balance.objects.get(lot__lot="L-1", place__place="A1", condition="usable", packet="sealed").lot
    sheet, address = f"/storeroom/lots/{lot.pk}/", reverse("attach_certificate", args=[lot.pk])
    for came_from, back in (
        (f"http://testserver{sheet}", f"http://testserver{sheet}"),
        ("http://else.example/", address),
    ):
        paper = SimpleUploadedFile("c.pdf", b"%PDF-1.4")
        answer = clerk.post(address, {"reference": "C-1", "file": paper}, headers={"referer": came_from})
        assert answer.status_code == 503
        assert f'href="{back}">Back to the form' in answer.content.decode()


def test_an_upload_that_waited_in_vain_is_not_refused_but_confirmed_again(clerk, other_writer, monkeypatch):
    other_writer.execute("ROLLBACK")
    clerk.force_login(User.objects.create_superuser("admin"))
    rows = b"part_number,description,kind,stock_unit\nOR-999,ring,part,each\n"
    address = clerk.post("/upload/", {"lists": SimpleUploadedFile("items.csv", rows)}).headers["Location"]
    other_writer.execute("BEGIN IMMEDIATE")
    # Whoever notes a refusal after the wait would find that nobody writes any more.
    note = actions.remark_faults
    monkeypatch.setattr(actions, "remark_faults", lambda *given: (other_writer.execute("ROLLBACK"), note(*given)))
    assert clerk.post(f"{address}confirm/").status_code == 503
    assert Upload.objects.get().state == UploadState.CHECKED
    monkeypatch.undo()
    other_writer.execute("ROLLBACK")
    assert clerk.post(f"{address}confirm/").status_code == 302
    assert Upload.objects.get().state == UploadState.LOADED


def test_the_command_that_waited_in_vain_says_so(clerk, other_writer, tmp_path):
    path = tmp_path / "items.csv"
    path.write_text("part_number,description,kind,stock_unit\nOR-999,ring,part,each\n")
    with pytest.raises(CommandError, match="somebody else was storing all the while"):
        call_command("load", str(path))
    assert not Upload.objects.exists()


def test_a_password_is_not_written_into_the_page(clerk, other_writer):
    answer = clerk.post("/sign-in/", {"username": "clerk", "password": "brass-fitting"})
    page = answer.content.decode()
    assert answer.status_code == 503
    assert "brass-fitting" not in page
    assert "fill in the form again" in page


def test_a_sheet_that_could_not_be_made_ready_is_loaded_again(clerk, other_writer, monkeypatch):
    monkeypatch.setattr(snapshot, "TRIES", 0)
    answer = clerk.get("/shortages/?batch=")
    assert answer.status_code == 503
    assert 'href="/shortages/?batch="' in answer.content.decode()
    other_writer.execute("ROLLBACK")
    assert clerk.get("/shortages/?batch=").status_code == 200


def test_other_faults_of_the_database_are_not_called_busy():
    fault = OperationalError("no such table: stock_lot")
    fault.__cause__ = sqlite3.OperationalError("no such table: stock_lot")
    assert not is_busy(fault)


def test_what_was_stored_is_not_called_refused_because_others_store_right_after(clerk, other_writer, monkeypatch):
    other_writer.execute("ROLLBACK")
    clerk.force_login(User.objects.create_superuser("admin"))
    rows = b"part_number,description,kind,stock_unit\nOR-999,ring,part,each\n"
    address = clerk.post("/upload/", {"lists": SimpleUploadedFile("items.csv", rows)}).headers["Location"]
    remark = actions.remark_faults  # what follows first once the rows are stored

    def begin_another(*facts):
        other_writer.execute("BEGIN IMMEDIATE")
        return remark(*facts)

    monkeypatch.setattr(actions, "remark_faults", begin_another)
    answer = clerk.post(f"{address}confirm/", {"load": "1"})
    other_writer.execute("ROLLBACK")
    assert (answer.status_code, Upload.objects.get().state) == (302, UploadState.LOADED)
