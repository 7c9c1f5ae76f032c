"""What was taken is read once and added to: it must come to what a fresh reading of all postings says."""

from datetime import UTC, date, datetime

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.models import Item
from kits.people.models import User
from kits.stock.actions import count_shelf, reverse_posting
from kits.stock.counts import takings
from kits.stock.counts.takings import takings_of
from kits.stock.last_counted import last_counts
from kits.stock.ledger import Entry, OnShelf, post
from kits.stock.models import Balance, Lot, Place

TODAY = date(2026, 3, 4)
AT = datetime(2026, 3, 4, 9, tzinfo=UTC)


def ring_on_the_shelf():
    ring = Item.objects.create(part_number="OR-1", description="x", kind="part", stock_unit="each")
    shelf = OnShelf(Lot.objects.create(item=ring, lot="A").pk, Place.objects.create(place="A-01").pk)
    book(shelf, 50, "opening", "first")
    return ring, shelf


def book(shelf, pieces, kind, key, at=AT):
    with transaction.atomic():
        return post(entries=[Entry(shelf, pieces * ONE)], kind=kind, by=None, at=at, key=key)


@pytest.mark.django_db(transaction=True)
def test_what_was_taken_since_is_added_to_what_was_read(monkeypatch):
    ring, shelf = ring_on_the_shelf()
    book(shelf, -3, "pack", "one")
    assert takings_of(TODAY).used[ring.pk] == 3 * ONE
    book(shelf, -4, "pack", "two")
    book(shelf, -5, "pack", "long ago", at=datetime(2025, 10, 1, tzinfo=UTC))
    book(shelf, -6, "pack", "too long ago", at=datetime(2025, 3, 1, tzinfo=UTC))
    book(shelf, 9, "receive", "came")
    added = takings_of(TODAY)
    monkeypatch.setattr(takings, "_kept", None)
    assert added == takings_of(TODAY)
    assert (added.used[ring.pk], added.times[ring.pk]) == (12 * ONE, 2)


@pytest.mark.django_db(transaction=True)
def test_records_put_in_the_place_of_others_are_read_anew(monkeypatch):
    ring, shelf = ring_on_the_shelf()
    book(shelf, -3, "pack", "one")
    takings_of(TODAY)
    kept = takings._kept
    other = takings._Kept(
        kept.on, (kept.last[0], "of another file"), takings.Takings(kept.takings.used, kept.takings.times)
    )
    monkeypatch.setattr(takings, "_kept", other)
    book(shelf, -1, "pack", "two")
    assert takings_of(TODAY).used[ring.pk] == 4 * ONE


@pytest.mark.django_db
def test_a_count_is_kept_on_its_account_until_it_is_taken_back():
    _, shelf = ring_on_the_shelf()
    clerk = User.objects.create(username="clerk")
    assert last_counts() == {}, "what a list brought in was not counted by anybody"
    counted = count_shelf(account=shelf, counted=49 * ONE, reason="", by=clerk, at=AT, key="count")
    balance = Balance.objects.get()
    assert (last_counts(), balance.moved_at) == ({balance.pk: TODAY}, AT)
    book(shelf, -1, "adjust", "earlier", at=datetime(2026, 1, 1, tzinfo=UTC))
    assert Balance.objects.get().moved_at == AT, "one that was booked later for an earlier moment"
    reverse_posting(posting=counted, reason="wrong bin", by=clerk, at=AT, key="back")
    assert last_counts() == {}
