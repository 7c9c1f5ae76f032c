"""Whatever is booked: nothing is lost, nothing is booked twice, and the plan asks for exactly the rest."""

from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import date

import pytest
from django.db import connection
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from bom.values import ONE
from kits.picking.actions import confirm_line, undo_line
from kits.picking.errors import PickRefusal
from kits.picking.models import Confirmation, PickRound, PickShare
from kits.stock.models import Lot, Movement, Posting, Reservation
from kits.stock.queries import ledger_differences
from tests.kits.picking.bench_shop import AT, BenchShop, full, held, line_of

ASKED = (4, 4, 2, 2)


class PickProperties(TestCase):
    @settings(max_examples=12, suppress_health_check=[HealthCheck.too_slow])
    @given(
        taken=st.tuples(*(st.integers(0, asked) for asked in ASKED)), miscount=st.integers(-3, 3), undo=st.booleans()
    )
    def test_the_plan_asks_for_exactly_what_was_not_picked(self, taken, miscount, undo):
        shop = BenchShop()
        jobs = shop.four_jobs()
        line = line_of(shop.start(*jobs), "NUT")
        quantities = {job.pk: quantity * ONE for job, quantity in zip(jobs, taken, strict=True)}
        said = {"by": shop.clerk, "at": AT, "counted": (40 + miscount) * ONE, "reason": "counted"}
        confirm_line(line=line, quantities=quantities, request_key="tap", **said)
        confirm_line(line=line, quantities=quantities, request_key="tap", **said)
        if undo:
            undo_line(line=line, by=shop.clerk, at=AT, request_key="undo")
            taken, miscount = (0, 0, 0, 0), 0
        assert [shop.asked(job).get("NUT", 0) for job in jobs] == [a - t for a, t in zip(ASKED, taken, strict=True)]
        assert held("NUT", job__isnull=True) == 40 + miscount - sum(taken)
        assert [held("NUT", job=job) for job in jobs] == list(taken)
        assert Reservation.objects.filter(lot=line.lot).exists() is undo
        assert ledger_differences() == []


LOTS = st.tuples(
    st.sampled_from(("OR-210-N70", "OR-210-CLEAN", "NUT")),
    st.sampled_from(("L-1", "L-2", "L-3")),
    st.sampled_from(("A1", "A2", "H1")),
    st.sampled_from(("usable", "usable", "quarantine")),
    st.sampled_from(("sealed", "sealed", "resealed", "loose")),
    st.integers(1, 6),
)
LASTS = {"L-1": date(2030, 12, 31), "L-2": date(2026, 3, 17), "L-3": None}
ASIDE = st.tuples(st.integers(0, 3), st.integers(0, 11), st.booleans())


class DrawProperties(TestCase):
    @settings(max_examples=20, suppress_health_check=[HealthCheck.too_slow], deadline=None)
    @given(
        lots=st.lists(LOTS, min_size=1, max_size=12, unique_by=lambda row: row[:5]),
        aside=st.lists(ASIDE, min_size=1, max_size=4),
        clean=st.booleans(),
        picked=st.sets(st.integers(0, 3), min_size=1),
    )
    def test_a_round_picks_for_each_job_what_the_plan_draws_for_it(self, lots, aside, clean, picked):
        """Lot by lot and place, from the packets of the draws; of clean parts never from an opened one."""
        shop = BenchShop()
        shop.item("OR-210-CLEAN", shelf_life_unlimited=True, cleanliness="oxygen_clean" if clean else "normal")
        shop.line("END", "OR-210-CLEAN", 1, "renew", "second gland")
        rows = [
            shop.lot_at(part, code, place, quantity, condition, packet, printed_last_use_on=LASTS[code])
            for part, code, place, condition, packet, quantity in lots
        ]
        shop.lay_in(*(count for _, count in rows), key="stock")
        jobs = shop.four_jobs()
        for number, row, anywhere in aside:
            part, code, place, *_ = lots[row % len(lots)]
            lot = Lot.objects.get(item__part_number=part, lot=code)
            where = {"place": None if anywhere else shop.places[place], "quantity": ONE}
            Reservation.objects.get_or_create(job=jobs[number], lot=lot, defaults=where)
        chosen = [jobs[number] for number in sorted(picked)]
        drawn = draws_of(shop.plan(), {job.job for job in chosen})
        try:
            made = shop.start(*chosen)
        except PickRefusal:
            assert not drawn
            return
        shares = PickShare.objects.filter(line__pick_round=made).values_list(
            "bag__job__job", "line__lot__item__part_number", "line__lot__lot", "line__place__place", "asked"
        )
        assert {tuple(row[:4]): row[4] for row in shares} == drawn
        for line in made.lines.all():
            confirm_line(line=line, quantities=full(line), by=shop.clerk, at=AT, request_key=f"tap {line.pk}")
        taken = Movement.objects.filter(posting__kind="pick", balance__job__isnull=True)
        assert not clean or not taken.filter(balance__lot__item__part_number="OR-210-CLEAN").exclude(
            balance__packet="sealed"
        )
        assert not draws_of(shop.plan(), {job.job for job in chosen})
        assert ledger_differences() == []


def draws_of(planned, jobs):
    """What the core draws from the shelf for some jobs, in its own columns: job, part, lot and place."""
    pieces, draws, supplies = planned.netting.pieces, planned.netting.draws, planned.supplies
    found = Counter()
    for row, piece in enumerate(draws.piece.tolist()):
        place = supplies.lot_place[draws.supply[row]] if draws.supply[row] >= 0 else draws.own_lot[row]
        name = planned.demand.askers[pieces.job[piece]].name
        if place >= 0 and pieces.job[piece] >= 0 and pieces.parent[piece] < 0 and name in jobs:
            lot = planned.shop.lots[place]
            found[name, lot.part_number, lot.lot, lot.place] += int(draws.quantity[row])
    return found


@pytest.fixture
def shop(transactional_db):
    return BenchShop()


def at_once(work, times):
    """Do the same work in several threads at the same time; how often it was refused."""

    def one(number):
        try:
            work(number)
        except PickRefusal:
            return 1
        else:
            return 0
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as people:
        return sum(people.map(one, range(times)))


def test_many_taps_at_once_book_a_line_once(shop):
    line = line_of(shop.start(shop.job("J-1")), "NUT")
    quantities = full(line)

    def tap(number):
        confirm_line(line=line, quantities=quantities, by=shop.clerk, at=AT, request_key="one tap")

    assert at_once(tap, 8) == 0
    assert (held("NUT", job__isnull=True), Posting.objects.filter(kind="pick").count()) == (36, 1)


def test_of_several_people_at_one_line_one_books_it(shop):
    line = line_of(shop.start(shop.job("J-1")), "NUT")
    quantities = full(line)

    def tap(number):
        confirm_line(line=line, quantities=quantities, by=shop.clerk, at=AT, request_key=f"tap {number}")

    assert at_once(tap, 6) == 5
    assert (held("NUT", job__isnull=True), Confirmation.objects.count()) == (36, 1)


def test_rounds_started_at_once_share_what_lies_there(shop):
    shop.stock("NUT", "H-1", "H1", 6)
    jobs = [shop.job("J-1"), shop.job("J-2")]

    def begin(number):
        shop.start(jobs[number % 2], key=f"round {number}")

    at_once(begin, 4)
    given_out = Reservation.objects.filter(lot__lot="H-1").values_list("quantity", flat=True)
    assert sum(given_out) == 6 * ONE
    assert PickRound.objects.count() == 2
    assert ledger_differences() == []
