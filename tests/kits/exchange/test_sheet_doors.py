"""Whoever brings a list in may do so: on check and confirmation, on replacing and undoing, at once and in a thread."""

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied

from kits.catalog.models import Item
from kits.exchange.actions import (
    begin_loading,
    check_upload,
    choose_headings,
    keep_upload,
    load_files,
    load_upload,
    receive_upload,
    take_up_upload,
    withdraw_upload,
)
from kits.exchange.columns.layouts import BY_NAME, LAYOUTS
from kits.exchange.models import UploadState
from kits.exchange.reading.asking.strange_headings import NO_CHOICES
from kits.exchange.undo.actions import undo_upload
from kits.exchange.uploads.outcome import outcome_from_json
from kits.exchange.workbooks.sheet_templates import template_workbook
from kits.people.models import User
from kits.people.roles import ROLES
from kits.stock.models import Lot, Posting
from tests.kits.exchange.books import AT, SHOP, SheetFile, book_file, items
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db
LATER = AT + timedelta(minutes=5)
LOADERS = {
    "Storeroom clerk": "Lots Places Issued KitContents",
    "Planner": "Schedule OtherNeeds Holidays Verdicts",
    "Purchasing": "Suppliers Offers Orders",
    "Service lead": "Items Structure Scopes KitFits Substitutes Schedule Verdicts Findings FindingRules",
    "Viewer": "",
}
"""The cut of the work among the roles: common practice, no source. The administrator alone has the settings."""
COUNT = {"Lots": [["part_number", "lot", "quantity", "place"], ["OR-014", "L-9", 7, "A1"]]}
MORE = items(("X-1", "thing", "part", "each"))


def sheets_of_role(role):
    return {sheet.name for sheet in LAYOUTS} if role == "Administrator" else set(LOADERS[role].split())


def refused(upload):
    return [problem.sheet for problem in outcome_from_json(upload.outcome).problems if "to load" in problem.reason]


def row_of(sheet):
    """One row, whatever becomes of it."""
    example = BY_NAME[sheet].example
    return [[*example], [str(value).replace("EXAMPLE", "MINE") for value in example.values()]]


def test_every_sheet_is_somebodys():
    assert {name for role in ROLES for name in role.loads} == {sheet.name for sheet in LAYOUTS}


@pytest.mark.parametrize("role", ["", *(role.name for role in ROLES)])
def test_a_role_loads_its_own_sheets_and_is_told_of_each_other(role):
    person = person_of(role)
    rows = {sheet.name: row_of(sheet.name) for sheet in LAYOUTS}
    upload = keep_upload(files=[book_file(rows)], by=person, at=AT)
    own = sheets_of_role(role) if role else set()
    assert set(refused(upload)) == set(rows) - own
    assert not Item.objects.exists()


def test_a_refused_sheet_is_named_with_whom_to_ask_and_nothing_of_the_file_is_stored(shop):
    upload = keep_upload(files=[book_file({**COUNT, **MORE})], by=person_of("Storeroom clerk"), at=AT)
    (problem,) = outcome_from_json(upload.outcome).problems
    assert problem.says == (
        "Items: it is for a service lead or an administrator to load: leave the sheet out, or ask one of them."
    )
    assert upload.state == UploadState.REFUSED
    assert not Lot.objects.filter(lot="L-9").exists()


def test_a_template_with_rows_in_ones_own_sheets_alone_is_taken(shop):
    template = SheetFile("templates.xlsx", template_workbook(()))
    clerk = person_of("Storeroom clerk")
    upload = keep_upload(files=[template, book_file(COUNT)], by=clerk, at=AT)
    assert upload.state == UploadState.CHECKED
    assert load_upload(upload=upload, by=clerk, at=LATER).stored
    assert [posting.by for posting in Posting.objects.filter(reason__contains="templates.xlsx")] == [clerk]


def test_who_may_not_load_it_cannot_confirm_what_another_brought_and_leaves_it_waiting(shop):
    lead, purchaser = person_of("Service lead"), person_of("Purchasing")
    upload = keep_upload(files=[book_file(MORE)], by=lead, at=AT)
    for step in (
        lambda: load_upload(upload=upload, by=purchaser, at=LATER),
        lambda: begin_loading(upload=upload, by=purchaser, worker="thread", at=LATER),
        lambda: withdraw_upload(upload=upload, by=purchaser, at=LATER),
        lambda: choose_headings(upload=upload, choices=NO_CHOICES, by=purchaser, at=LATER),
    ):
        with pytest.raises(PermissionDenied, match="The sheet Items is for a service lead or an administrator"):
            step()
    upload.refresh_from_db()
    assert upload.state == UploadState.CHECKED
    assert load_upload(upload=upload, by=lead, at=LATER).stored


def test_half_done_work_on_another_persons_lists_is_taken_up_by_who_may_load_them(shop):
    lead = person_of("Service lead")
    upload = keep_upload(files=[book_file(MORE)], by=lead, at=AT)
    begin_loading(upload=upload, by=lead, worker="stopped", at=AT)
    with pytest.raises(PermissionDenied):
        take_up_upload(upload=upload, by=person_of("Planner"), worker="new", at=LATER)
    take_up_upload(upload=upload, by=person_of("Administrator"), worker="new", at=LATER)
    check_upload(upload=upload, worker="new", at=LATER)
    upload.refresh_from_db()
    assert upload.state == UploadState.CHECKED


def test_a_right_that_is_lost_after_the_preview_is_missed_at_the_confirmation(shop):
    lead = person_of("Service lead")
    upload = keep_upload(files=[book_file(MORE)], by=lead, at=AT)
    assert lead.has_perm("exchange.load_items"), "asked before, so it is remembered with the person"
    lead.groups.clear()
    with pytest.raises(PermissionDenied):
        load_upload(upload=upload, by=lead, at=LATER)
    assert not Item.objects.filter(part_number="X-1").exists()


@pytest.mark.parametrize("lose", [lambda lead: lead.groups.clear(), lambda lead: User.objects.update(is_active=False)])
def test_a_right_that_is_lost_while_a_thread_is_at_it_is_missed_when_it_is_stored(shop, lose):
    lead = person_of("Service lead")
    upload = keep_upload(files=[book_file(MORE)], by=lead, at=AT)
    begin_loading(upload=upload, by=lead, worker="thread", at=LATER)
    lose(lead)
    assert [problem.sheet for problem in load_upload(upload=upload, by=lead, at=LATER).problems] == ["Items"]
    assert upload.state == UploadState.REFUSED
    assert not Item.objects.filter(part_number="X-1").exists()


def test_a_long_list_is_checked_in_its_thread_with_the_rights_of_who_brought_it(shop):
    upload = receive_upload(files=[book_file(MORE)], by=person_of("Planner"), at=AT, worker="thread")
    check_upload(upload=upload, worker="thread", at=AT)
    upload.refresh_from_db()
    assert refused(upload) == ["Items"]


def test_a_sheet_that_replaces_what_is_stored_asks_for_its_right(shop):
    purchaser = person_of("Purchasing")
    rows = {"Holidays": [["date", "name"]], "Offers": SHOP["Offers"]}
    upload = keep_upload(files=[book_file(rows)], by=purchaser, at=AT, replaced=["Holidays"])
    assert refused(upload) == ["Holidays"]


def test_an_upload_is_taken_back_by_who_may_load_its_sheets(shop):
    lead = person_of("Service lead")
    upload = keep_upload(files=[book_file(MORE)], by=lead, at=AT)
    load_upload(upload=upload, by=lead, at=LATER)
    with pytest.raises(PermissionDenied):
        undo_upload(upload=upload, by=person_of("Planner"), at=LATER)
    upload.refresh_from_db()
    assert upload.state == UploadState.LOADED
    undo_upload(upload=upload, by=lead, at=LATER)
    assert not Item.objects.filter(part_number="X-1").exists()


def test_a_command_loads_every_sheet(db):
    assert load_files(files=[book_file(SHOP)], by=None, at=AT).stored
