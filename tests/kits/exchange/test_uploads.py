"""An upload is kept with its preview, read again when it is confirmed, and loaded once."""

import hashlib
from datetime import timedelta

import pytest

from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.exchange.actions import keep_upload, load_upload, withdraw_upload
from kits.exchange.models import UploadState
from kits.exchange.uploads import outcome
from kits.exchange.uploads.outcome import outcome_from_json
from tests.kits.exchange.books import AT, SHOP, book_file, items
from tests.kits.persons import person_of

LATER = AT + timedelta(minutes=5)
ROW = ("X-1", "thing", "part", "each")


@pytest.fixture
def keeper(db):
    return person_of("Administrator", "keeper")


def test_an_upload_is_kept_byte_for_byte_with_its_preview(keeper):
    file = book_file(SHOP)
    upload = keep_upload(files=[file], by=keeper, at=AT)
    assert (upload.by, upload.at, upload.state) == (keeper, AT, UploadState.CHECKED)
    kept = upload.files.get()
    assert (kept.name, bytes(kept.content)) == (file.name, file.content)
    assert kept.digest == hashlib.sha256(file.content).hexdigest()
    kept = outcome_from_json(upload.outcome)
    assert [sheet.count("new") for sheet in kept.sheets if sheet.sheet == "Items"] == [6]
    assert not Item.objects.exists()


def test_a_preview_counts_what_stays_the_same_and_shows_what_changes(keeper, shop):
    upload = keep_upload(files=[book_file({**SHOP, **items(("OR-014", "ring", "part", "each"))})], by=keeper, at=AT)
    sheet = next(sheet for sheet in outcome_from_json(upload.outcome).sheets if sheet.sheet == "Items")
    assert (sheet.count("changed"), sheet.count("same")) == (1, 0)
    assert [(change.before, change.after) for change in sheet.rows[0].changes] == [("O-ring", "ring")]


def test_of_a_long_list_the_first_rows_are_kept_and_all_are_counted(keeper, monkeypatch):
    monkeypatch.setattr(outcome, "MOST_KEPT", 3)
    upload = keep_upload(files=[book_file(items(*[(f"X-{n}", *ROW[1:]) for n in range(9)]))], by=keeper, at=AT)
    (sheet,) = outcome_from_json(upload.outcome).sheets
    assert sheet.count("new") == 9
    assert [row.key for row in sheet.rows[:4]] == ["X-0", "X-1", "X-2", ""]


def test_a_confirmed_upload_is_loaded_once(keeper):
    upload = keep_upload(files=[book_file(items(ROW))], by=keeper, at=AT)
    assert load_upload(upload=upload, by=keeper, at=LATER).stored
    assert (upload.state, upload.loaded_by, upload.loaded_at) == (UploadState.LOADED, keeper, LATER)
    again = load_upload(upload=upload, by=keeper, at=LATER)
    assert "does not wait for a confirmation" in again.problems[0].reason
    assert upload.state == UploadState.LOADED


def test_an_upload_that_changes_nothing_is_settled_all_the_same(keeper, shop):
    upload = keep_upload(files=[book_file(SHOP)], by=keeper, at=AT)
    assert not load_upload(upload=upload, by=keeper, at=LATER).problems
    assert upload.state == UploadState.LOADED


def test_an_upload_with_a_problem_cannot_be_loaded(keeper):
    upload = keep_upload(files=[book_file(items(("X-1", "thing", "prt", "each")))], by=keeper, at=AT)
    assert upload.state == UploadState.REFUSED
    assert outcome_from_json(upload.outcome).problems[0].column == "kind"
    assert load_upload(upload=upload, by=keeper, at=LATER).problems
    assert upload.state == UploadState.REFUSED


def test_what_became_wrong_since_the_preview_is_found_when_it_is_confirmed(keeper, shop):
    upload = keep_upload(
        files=[
            book_file(
                {
                    "Places": [["place"], ["A7"]],
                    "Lots": [["part_number", "lot", "quantity", "place"], ["OR-014", "L-5", 5, "A1"]],
                }
            )
        ],
        by=keeper,
        at=AT,
    )
    assert upload.state == UploadState.CHECKED
    Item.objects.filter(part_number="OR-014").update(part_number="OR-15", folded="or-15")
    found = load_upload(upload=upload, by=keeper, at=LATER)
    assert found.problems[0].reason == "there is no item OR-014"
    assert upload.state == UploadState.REFUSED


def test_an_upload_is_withdrawn_unless_it_was_loaded(keeper):
    upload = keep_upload(files=[book_file(items(ROW))], by=keeper, at=AT)
    withdraw_upload(upload=upload, by=keeper, at=LATER)
    upload.refresh_from_db()
    assert upload.state == UploadState.WITHDRAWN
    assert load_upload(upload=upload, by=keeper, at=LATER).problems
    with pytest.raises(Refusal, match="cannot be withdrawn"):
        withdraw_upload(upload=upload, by=keeper, at=LATER)
    assert not Item.objects.exists()
