"""Random days in the storeroom against a model as plain as a tally sheet: the books must say what the tally says."""

from collections import Counter
from datetime import UTC, date, datetime

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from bom.values import ONE
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.people.models import User
from kits.stock.actions import count_shelf, move_stock, reverse_posting, scrap_stock
from kits.stock.ledger import OnShelf
from kits.stock.models import Balance, Lot, Place, Posting
from kits.stock.queries import ledger_differences
from kits.stock.writes import LotFacts
from tests.kits.stock.deliveries import take_in

AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
TODAY = date(2026, 3, 4)
PLACES = ("A1", "Q1")
CONDITIONS = ("usable", "quarantine")
PACKETS = ("sealed", "resealed")

lots = st.sampled_from(("L-1", "L-2"))
places = st.sampled_from(PLACES)
conditions = st.sampled_from(CONDITIONS)
packets = st.sampled_from(PACKETS)
quantities = st.integers(-3, 9)


class Storeroom(RuleBasedStateMachine):
    """One part, two lots, three places. The tally holds pieces by lot, place, condition and packet."""

    @initialize()
    def open_the_day(self):
        self.part = Item.objects.create(part_number="RING", description="ring", kind="part", stock_unit="each")
        self.user = User.objects.create_user("clerk")
        self.places = {name: Place.objects.create(place=name) for name in PLACES}
        self.tally = Counter()
        self.done = {}
        self.undone = set()
        self.keys = 0

    def said(self):
        self.keys += 1
        return {"by": self.user, "at": AT, "key": f"key-{self.keys}"}

    def some_lot(self):
        return Lot.objects.exists()

    def accounts(self):
        """Accounts of lots that were received: mostly such as hold something."""
        known = sorted(Lot.objects.values_list("lot", flat=True))
        held = sorted(where for where, quantity in self.tally.items() if quantity)
        anywhere = st.tuples(st.sampled_from(known), places, conditions, packets)
        return st.one_of(*[st.sampled_from(held)] * 3, anywhere) if held else anywhere

    def account(self, where):
        code, place, condition, packet = where
        return OnShelf(Lot.objects.get(lot=code).pk, self.places[place].pk, condition, packet)

    def book(self, changes, posting):
        """The tally follows what was posted; a posting is remembered with what it did, so that it can be taken back."""
        self.tally.update(changes)
        if posting is not None:
            self.done[posting.pk] = dict(changes)

    def expect(self, allowed, work):
        """Do it; it is refused if and only if the tally says that it cannot be."""
        refused = ""
        try:
            posting = work()
        except Refusal as refusal:
            posting, refused = None, str(refusal)
        assert bool(refused) != allowed, refused or "the books took what the tally cannot hold"
        assert not refused or refused.endswith("."), "a refusal is a sentence"
        return posting, not refused

    @rule(code=lots, place=places, condition=conditions, quantity=quantities, taps=st.integers(1, 2))
    def receive(self, code, place, condition, quantity, taps):
        said = self.said()

        def work():
            for _ in range(taps):
                posting = take_in(
                    item=self.part, lot_code=code, facts=LotFacts(), quantity=quantity * ONE,
                    place_id=self.places[place].pk, condition=condition, today=TODAY, **said,
                )  # fmt: skip
            return posting

        posting, done = self.expect(quantity > 0, work)
        if done:
            self.book({(code, place, condition, "sealed"): quantity}, posting)

    @precondition(lambda self: self.some_lot())
    @rule(data=st.data(), to=st.tuples(places, conditions, packets), quantity=quantities)
    def move(self, data, to, quantity):
        source = data.draw(self.accounts())
        target = (source[0], *to)
        allowed = quantity > 0 and source != target and self.tally[source] >= quantity
        said = self.said()
        posting, done = self.expect(
            allowed,
            lambda: move_stock(
                source=self.account(source),
                target=self.account(target),
                quantity=quantity * ONE,
                reason="moved",
                **said,
            ),
        )
        if done:
            self.book({source: -quantity, target: quantity}, posting)

    @precondition(lambda self: self.some_lot())
    @rule(data=st.data(), counted=quantities)
    def count(self, data, counted):
        where = data.draw(self.accounts())
        said = self.said()
        posting, done = self.expect(
            counted >= 0,
            lambda: count_shelf(account=self.account(where), counted=counted * ONE, reason="counted", **said),
        )
        if done:
            assert (posting is None) == (self.tally[where] == counted), "a count that agrees posts nothing"
            self.book({where: counted - self.tally[where]}, posting)

    @precondition(lambda self: self.some_lot())
    @rule(data=st.data(), quantity=quantities, why=st.sampled_from(("torn", "cut", " ")))
    def scrap(self, data, quantity, why):
        where = data.draw(self.accounts())
        allowed = quantity > 0 and bool(why.strip()) and self.tally[where] >= quantity
        said = self.said()
        posting, done = self.expect(
            allowed, lambda: scrap_stock(source=self.account(where), quantity=quantity * ONE, reason=why, **said)
        )
        if done:
            self.book({where: -quantity}, posting)

    @precondition(lambda self: self.done)
    @rule(data=st.data())
    def take_back(self, data):
        number = data.draw(st.sampled_from(sorted(self.done)))
        changes = {where: -quantity for where, quantity in self.done[number].items()}
        allowed = number not in self.undone and all(self.tally[where] + q >= 0 for where, q in changes.items())
        _, done = self.expect(
            allowed, lambda: reverse_posting(posting=Posting.objects.get(pk=number), reason="wrong", **self.said())
        )
        if done:
            self.tally.update(changes)
            self.undone.add(number)

    @invariant()
    def the_books_say_what_the_tally_says(self):
        if not hasattr(self, "tally"):
            return
        booked = {
            (row.lot.lot, row.place.place, row.condition, row.packet): row.quantity // ONE
            for row in Balance.objects.select_related("lot", "place").filter(quantity__gt=0)
        }
        assert booked == {where: quantity for where, quantity in self.tally.items() if quantity}
        assert ledger_differences() == []


class UndoneStoreroom(Storeroom):
    """Each run of the machine leaves no trace."""

    def __init__(self):
        super().__init__()
        self.undo = transaction.atomic()
        # As Django's own test case marks its transactions, so that an action may ask for a durable one inside.
        self.undo._from_testcase = True
        self.undo.__enter__()

    def teardown(self):
        transaction.set_rollback(True)
        self.undo.__exit__(None, None, None)


@pytest.mark.django_db
def test_whatever_is_done_the_books_say_what_the_tally_says():
    run_state_machine_as_test(
        UndoneStoreroom,
        settings=settings(
            max_examples=20, stateful_step_count=30, deadline=None, suppress_health_check=list(HealthCheck)
        ),
    )
