"""The list of movements as the database sorts it and cuts it into pages."""

from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from bom.values import ONE
from kits.catalog.models import Item
from kits.people.models import User
from kits.stock.ledger import Entry, OnShelf, post, reverse
from kits.stock.lists.movements import SORTS, MovementFilter, movement_rows
from kits.stock.models import Lot, Place
from tests.kits.stock.kit_shop import AT, TODAY

pytestmark = pytest.mark.django_db
SHOWN = {
    "at": lambda row: row.at,
    "kind": lambda row: row.kind,
    "part": lambda row: row.part_number.lower(),
    "lot": lambda row: row.lot.lower(),
    "where": lambda row: row.where.split(" (")[0].lower(),
    "change": lambda row: row.change.millionths,
    "job": lambda row: row.job.lower(),
    "by": lambda row: row.by.lower(),
    "reason": lambda row: row.reason.lower(),
    "standing": lambda row: row.standing,
}


@pytest.fixture
def ledger():
    """Twelve movements of three parts at two places, by three people, one of them taken back."""
    people = [
        User.objects.create_user("zoe", first_name="Ada", last_name="Zell"),
        User.objects.create_user("bo"),
        None,
    ]
    places = [Place.objects.create(place=name) for name in ("b-2", "A-1")]
    with transaction.atomic():
        for number in range(11):
            item, _ = Item.objects.get_or_create(
                part_number=f"or-{number % 3}", defaults={"description": "ring", "kind": "part", "stock_unit": "each"}
            )
            lot = Lot.objects.create(item=item, lot=f"{'lL'[number % 2]}-{number}")
            made = post(
                entries=[Entry(OnShelf(lot.pk, places[number % 2].pk), (number + 1) * ONE)],
                kind=("receive", "count", "adjust")[number % 3],
                by=people[number % 3],
                at=AT + timedelta(hours=number * 7 % 11),
                key=f"k{number}",
                reason=("", "Bag torn", "a recount")[number % 3],
            )
        reverse(posting=made, by=people[0], at=AT + timedelta(days=1), key="back", reason="")


@pytest.mark.parametrize("column", sorted(SORTS))
@pytest.mark.parametrize("downwards", [False, True])
def test_every_column_sorts_as_it_reads_with_blanks_last_either_way(ledger, column, downwards):
    rows = movement_rows(MovementFilter(part=""), today=TODAY).sorted_by(f"{'-' if downwards else ''}{column}")
    shown = [SHOWN[column](row) for row in rows]
    if column == "reason":  # what a reversal takes back stands before its reason, and is not what is sorted
        shown = ["" if said.startswith("takes back") else said for said in shown]
    filled = [value for value in shown if value != ""]
    assert len(shown) == 12
    assert shown[: len(filled)] == filled == sorted(filled, reverse=downwards)


def test_unknown_column_leaves_the_last_on_top(ledger):
    rows = movement_rows(MovementFilter(), today=TODAY)
    assert [row.posting for row in rows.sorted_by("no-such")] == [row.posting for row in rows]
    assert next(iter(rows)).kind == "taken back"


def test_a_page_reads_its_own_rows_only(ledger):
    rows = movement_rows(MovementFilter(), today=TODAY).sorted_by("-change")
    with CaptureQueriesContext(connection) as asked:
        assert [row.change.millionths // ONE for row in rows[2:5]] == [9, 8, 7]
    assert len(asked) == 2, "the rows, and which of them were taken back"
    assert "LIMIT 3 OFFSET 2" in asked[0]["sql"]
    assert rows.count() == len(rows) == 12
