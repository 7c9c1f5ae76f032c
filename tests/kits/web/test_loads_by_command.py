"""What was loaded by command stands among the uploads, and the page takes it back."""

import io

from django.core.management import call_command
from django.urls import reverse

from kits.catalog.models import Item
from kits.exchange.models import Upload, UploadState
from tests.kits.exchange.books import items, make_book


def test_a_load_by_command_stands_in_the_history_and_is_taken_back_there(admin_client, tmp_path, monkeypatch):
    monkeypatch.setattr("getpass.getuser", lambda: "storeroom-pc")
    path = tmp_path / "lists.xlsx"
    path.write_bytes(make_book(items(("X-1", "thing", "part", "each"))))
    call_command("load", str(path), stdout=io.StringIO())
    upload = Upload.objects.get()
    for page in (reverse("upload"), reverse("upload_history"), reverse("upload_preview", args=[upload.pk])):
        shown = admin_client.get(page).content.decode()
        assert "storeroom-pc, by command" in shown, page
        assert "None" not in shown, page
    assert Item.objects.exists()
    admin_client.post(reverse("upload_undo", args=[upload.pk]))
    upload.refresh_from_db()
    assert upload.state == UploadState.UNDONE
    assert not Item.objects.exists()
