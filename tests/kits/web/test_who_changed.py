"""The page that tells who changed what: seen by two roles, exported as it is shown."""

import io
from datetime import timedelta

import openpyxl
import pytest
from axes.models import AccessFailureLog
from django.utils import timezone

from kits.catalog.history.versions import keep_versions
from kits.catalog.models import Item
from tests.kits.persons import person_of
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
ADDRESS = "/who-changed-what/"


@pytest.fixture
def lead(client, small_shop):
    person = person_of("Service lead", "lead")
    client.force_login(person)
    return client


def change(by, description, at=None):
    ring = Item.objects.get(part_number="OR-014")
    before = {ring.pk: Item.objects.get(pk=ring.pk)}
    ring.description = description
    ring.save()
    keep_versions(Item, before, {ring.pk: ring}, by=by, at=at or timezone.now(), why="=1+1")


def test_administrator_sees_sign_ins_and_the_lead_all_the_rest(keeper, small_shop):
    AccessFailureLog.objects.create(username="somebody", ip_address="192.0.2.8")
    change(None, "ring of today")
    said = sheet_of(keeper.get(ADDRESS))
    assert "failed to sign in" in said
    assert "Description: ring of today" in said


def test_lead_sees_no_sign_in(lead):
    AccessFailureLog.objects.create(username="somebody", ip_address="192.0.2.8")
    change(None, "ring of today")
    said = sheet_of(lead.get(ADDRESS))
    assert "failed to sign in" not in said
    assert "Description: ring of today" in said
    assert "failed to sign in" not in sheet_of(lead.get(ADDRESS, {"of": "failed"}))


@pytest.mark.parametrize("role", ["Planner", "Purchasing", "Storeroom clerk"])
def test_nobody_else_sees_it(client, small_shop, role):
    client.force_login(person_of(role, "person"))
    assert client.get(ADDRESS).status_code == 403
    assert client.get(ADDRESS, {"export": "csv"}).status_code == 403


def test_files_hold_what_is_asked_for_and_no_formula(keeper, small_shop):
    change(None, "=HYPERLINK(1)")
    change(None, "years ago", at=timezone.now() - timedelta(days=900))
    answer = keeper.get(ADDRESS, {"export": "xlsx", "of": "catalog.item"})
    sheet = openpyxl.load_workbook(io.BytesIO(answer.content)).worksheets[0]
    rows = [[cell.value for cell in row] for row in sheet.iter_rows()]
    assert rows[0] == ["When", "Who", "List", "Did what", "Of what", "Before", "After", "Why"]
    assert [row[6] for row in rows[1:]] == ["Description: =HYPERLINK(1)"]
    assert {cell.data_type for row in sheet.iter_rows() for cell in row} <= {"s", "d", "n", "inlineStr"}
    text = keeper.get(ADDRESS, {"export": "csv", "of": "catalog.item"}).content.decode("utf-8-sig")
    assert "\n=" not in text
    assert ",=" not in text


def test_headings_that_cannot_be_sorted_by_are_no_links(keeper, small_shop):
    change(None, "ring of today")
    said = keeper.get(ADDRESS).content.decode()
    assert "sort=at" in said
    assert "sort=named" not in said


def test_statements_are_as_many_for_thirty_changes_as_for_three(keeper, small_shop):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    counts = []
    for many in (3, 27):
        for number in range(many):
            change(None, f"ring {many} {number}")
        with CaptureQueriesContext(connection) as asked:
            keeper.get(ADDRESS, {"of": "catalog.item"})
        counts.append(len(asked))
    assert counts[0] == counts[1]
