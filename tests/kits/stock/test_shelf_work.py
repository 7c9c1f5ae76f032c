from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.models import Item
from kits.people.models import User
from kits.schedule.models import Job
from kits.stock import actions
from kits.stock.errors import StockRefusal
from kits.stock.ledger import Entry, OnShelf, WithJob
from kits.stock.lists.disposal import disposed, to_dispose
from kits.stock.lists.movements import MovementFilter, movement_rows
from kits.stock.lists.put_away import away_rows
from kits.stock.lists.quarantine import held_rows
from kits.stock.lists.with_jobs import with_job_rows
from kits.stock.lists.words import KIND_SAYS
from kits.stock.models import Balance, Hold, Lot, Place, Posting
from kits.stock.queries import job_stock, ledger_differences
from kits.stock.words import PostingKind
from kits.stock.writes import JobCount, LotFacts, set_job_counts
from tests.kits.stock.deliveries import take_in

AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
TODAY = date(2026, 3, 4)

pytestmark = pytest.mark.django_db(transaction=True)


class Room:
    """Twelve rings in their home bin, a staging shelf, a cage, a job that holds three of them."""

    def __init__(self):
        self.clerk = User.objects.create(username="clerk", first_name="Cleo")
        self.ring = Item.objects.create(
            part_number="OR-1", description="ring", kind="part", stock_unit="each", shelf_life_months=60,
            home_place="a-01",
        )  # fmt: skip
        self.bin, self.staging, self.cage = (
            Place.objects.create(place=name, kind=kind)
            for name, kind in (("A-01", "bin"), ("DOOR", "staging"), ("CAGE", "quarantine"))
        )
        pump = Item.objects.create(part_number="P-1", description="pump", kind="pump", stock_unit="each")
        self.job = Job.objects.create(job="J-1", pump=pump, scope="full", build_on=date(2026, 3, 9), serial="S-1")
        take_in(
            item=self.ring, lot_code="L-1", facts=LotFacts(cure="4Q24"), quantity=12 * ONE, place_id=self.bin.pk,
            by=self.clerk, at=AT, today=TODAY, key="in",
        )  # fmt: skip
        self.lot = Lot.objects.get()
        self.shelf = self.at(self.bin)
        self.keys = iter(range(100))

    def at(self, place, condition="usable", packet="sealed"):
        return OnShelf(self.lot.pk, place.pk, condition, packet)

    def do(self, action, quantity=None, key=None, at=AT, **given):
        around = {"by": self.clerk, "at": at, "key": key or f"key:{next(self.keys)}"}
        if quantity is not None:
            given["quantity"] = int(quantity * ONE)
        return action(**{"reason": "because", **given}, **around)

    def issue(self, quantity):
        with transaction.atomic():
            count = JobCount(self.job.pk, self.lot.pk, "issued", quantity * ONE)
            set_job_counts([count], by=self.clerk, at=AT, key=f"issue:{next(self.keys)}")
        return WithJob(self.lot.pk, self.job.pk, "issued")


@pytest.fixture
def room(db):
    return Room()


def held(account):
    rows = Balance.objects.filter(
        lot_id=account.lot_id, place_id=account.place_id, condition=account.condition, packet=account.packet
    )
    return sum(rows.values_list("quantity", flat=True)) // ONE


def test_hold_names_who_decides_and_how_long_it_has_lain_there(room):
    held_since = AT - timedelta(days=40)
    room.do(actions.hold_stock, 5, source=room.shelf, place_id=room.cage.pk, decides="customer", at=held_since)
    row = held_rows(today=TODAY)[0]
    assert (row.quantity.figure, row.place, row.days, row.long) == ("5", "CAGE", 40, True)
    assert (row.decides, row.reason) == ("Customer", "because")
    assert held_rows(today=TODAY, decides="Service lead") == []


def test_age_in_quarantine_begins_anew_when_it_was_empty_between(room):
    cage = room.at(room.cage, "quarantine")
    first = AT - timedelta(days=40)
    room.do(actions.hold_stock, 5, source=room.shelf, place_id=room.cage.pk, decides="lead", at=first)
    room.do(actions.release_stock, 5, source=cage, place_id=room.bin.pk)
    room.do(actions.hold_stock, 2, source=room.shelf, place_id=room.cage.pk, decides="lead")
    assert held_rows(today=TODAY)[0].days == 0


def test_release_needs_a_reason_and_no_cage(room):
    room.do(actions.hold_stock, 5, source=room.shelf, place_id=room.cage.pk, decides="lead")
    cage = room.at(room.cage, "quarantine")
    with pytest.raises(StockRefusal, match="a reason"):
        room.do(actions.release_stock, 5, source=cage, place_id=room.bin.pk, reason=" ")
    with pytest.raises(StockRefusal, match="is the quarantine cage"):
        room.do(actions.release_stock, 5, source=cage, place_id=room.cage.pk)
    room.do(actions.release_stock, 5, source=cage, place_id=room.bin.pk)
    assert (held(cage), held(room.shelf)) == (0, 12)


def test_held_once_however_often_the_button_is_tapped(room):
    for _ in range(2):
        room.do(actions.hold_stock, 5, key="tap", source=room.shelf, place_id=room.cage.pk, decides="lead")
    assert (held(room.shelf), Hold.objects.count()) == (7, 1)


def test_opened_packet_is_never_sealed_again(room):
    room.do(actions.change_packet, 4, source=room.shelf, packet="resealed")
    opened = room.at(room.bin, packet="resealed")
    assert (held(room.shelf), held(opened)) == (8, 4)
    with pytest.raises(StockRefusal, match="never sealed again"):
        room.do(actions.change_packet, 4, source=opened, packet="sealed")
    room.do(actions.change_packet, 1, source=opened, packet="loose")
    assert [one.kind for one in Posting.objects.order_by("id")][1:] == ["open_packet", "open_packet"]


@pytest.mark.parametrize("change", [2, -3])
def test_adjustment_needs_a_reason_and_moves_the_book(room, change):
    with pytest.raises(StockRefusal, match="a reason"):
        room.do(actions.adjust_stock, account=room.shelf, change=change * ONE, reason="")
    room.do(actions.adjust_stock, account=room.shelf, change=change * ONE)
    assert held(room.shelf) == 12 + change


def test_half_a_ring_cannot_be_moved(room):
    with pytest.raises(StockRefusal, match=r"0\.5 of OR-1 is no whole number"):
        room.do(actions.move_stock, 0.5, source=room.shelf, target=room.at(room.staging))


def test_what_waits_on_a_staging_shelf_is_to_be_put_into_its_home_bin(room):
    assert away_rows() == []
    room.do(actions.move_stock, 4, source=room.shelf, target=room.at(room.staging))
    row = away_rows()[0]
    assert (row.place, row.waits, row.home, row.quantity.figure) == ("DOOR", True, "A-01", "4")


def test_disposal_takes_expired_lots_off_and_keeps_the_record(room):
    late = date(2030, 1, 1)
    row = to_dispose(today=late)[0]
    assert (row.why, row.quantity.figure) == ("past its last day of use", "12")
    given = {"sources": [Entry(room.shelf, 12 * ONE)], "way": "cut", "remark": "", "reason": "past its day"}
    for _ in range(2):
        room.do(actions.dispose_of, key="tap", **given)
    assert to_dispose(today=late) == []
    line = disposed()[0]
    assert (line.quantity.figure, line.way, line.by) == ("12", "Cut up and put into general waste", "Cleo")
    assert ledger_differences() == []


def test_another_way_of_disposal_has_to_be_described(room):
    with pytest.raises(StockRefusal, match="needs a remark"):
        room.do(actions.dispose_of, sources=[Entry(room.shelf, ONE)], way="other", remark=" ")


def test_usable_lot_in_date_is_not_on_the_disposal_list(room):
    assert to_dispose(today=TODAY) == []


def test_issued_pieces_come_back_with_their_lot_or_into_quarantine(room):
    source = room.issue(5)
    back, cage = room.at(room.bin, packet="resealed"), room.at(room.cage, "quarantine", "resealed")
    room.do(actions.take_from_bench, 2, source=source, target=back)
    room.do(actions.take_from_bench, 1, source=source, target=cage, reason="was fitted once")
    assert (held(back), held(cage)) == (2, 1)
    assert [row.quantity.figure for row in with_job_rows()] == ["2"]
    assert {row.state: row.quantity // ONE for row in job_stock()} == {"issued": 5, "returned": 3}
    assert Hold.objects.get().reason == "was fitted once"


def test_part_that_may_not_be_resealed_comes_back_into_quarantine_only(room):
    Item.objects.filter(pk=room.ring.pk).update(resealed_usable=False)
    with pytest.raises(StockRefusal, match="may not be used from an opened packet"):
        room.do(actions.take_from_bench, 1, source=room.issue(5), target=room.at(room.bin, packet="resealed"))


def test_more_than_the_job_holds_cannot_come_back(room):
    with pytest.raises(StockRefusal, match="holds 5, 6 cannot be taken"):
        room.do(actions.take_from_bench, 6, source=room.issue(5), target=room.at(room.bin, packet="resealed"))


def test_movements_say_who_what_where_and_why_and_which_may_be_taken_back(room):
    room.do(actions.move_stock, 4, source=room.shelf, target=room.at(room.staging))
    rows = list(movement_rows(MovementFilter(part="or-1"), today=TODAY))
    assert [(row.kind, row.where, f"{row.sign}{row.change.figure}") for row in rows] == [
        ("moved", "A-01", "-4"),
        ("moved", "DOOR", "+4"),
        ("received", "A-01", "+12"),
    ]
    assert {(row.by, row.reason, row.may_be_taken_back) for row in rows[:2]} == {("Cleo", "because", True)}
    posting = Posting.objects.get(kind="move")
    room.do(actions.reverse_posting, posting=posting)
    taken = [row for row in movement_rows(MovementFilter(part="OR-1"), today=TODAY) if row.posting == posting.pk]
    assert {(row.standing, row.may_be_taken_back) for row in taken} == {("taken back", False)}


def test_movements_are_chosen_by_place_kind_and_day(room):
    room.do(actions.move_stock, 4, source=room.shelf, target=room.at(room.staging), at=AT + timedelta(days=3))
    count = lambda **sought: len(movement_rows(MovementFilter(**sought), today=TODAY))  # noqa: E731
    assert count(place="door") == 1
    assert count(kind="receive") == 1
    assert count(lot="L-1", since=date(2026, 3, 7)) == 2
    assert count(lot="L-1", until=date(2026, 3, 6)) == 1
    assert count(lot="L-2") == 0


def test_every_kind_of_posting_has_its_word():
    assert set(KIND_SAYS) == set(PostingKind)
