from datetime import date

import pytest
from django.db import connection

from bom.values import ONE
from kits.picking.actions import confirm_line, give_up_round
from kits.picking.errors import PickRefusal
from kits.picking.models import PickRound
from kits.schedule.models import Job
from kits.stock.models import Reservation
from tests.kits.picking.bench_shop import AT, BenchShop, full, held, line_of, shares

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return BenchShop()


def test_a_round_shares_each_lot_out_among_the_bags(shop):
    made = shop.start(*shop.four_jobs())
    nuts = line_of(made, "NUT")
    assert shares(nuts) == [("J-1", 4), ("J-2", 4), ("J-3", 2), ("J-4", 2)]
    assert (nuts.lot.lot, nuts.place.place) == ("H-1", "H1")


def test_kits_come_first_and_loose_parts_in_walk_order(shop):
    made = shop.start(*shop.four_jobs())
    assert [(line.number, line.lot.item.part_number, line.place.place) for line in made.lines.all()] == [
        (1, "K-END", "K1"),
        (2, "OR-210-N70", "A1"),
        (3, "NUT", "H1"),
    ]


def test_kits_come_first_wherever_they_lie(shop):
    shop.places["K1"].walk_order = 80
    shop.places["K1"].save()
    made = shop.start(*shop.four_jobs())
    assert made.lines.first().lot.item.part_number == "K-END"


def test_what_a_kit_covers_is_not_picked_loose(shop):
    made = shop.start(shop.job("J-1"))
    assert not made.lines.filter(lot__item__part_number="OR-210-N90").exists()
    assert shares(line_of(made, "K-END")) == [("J-1", 2)]


def test_a_kit_that_has_to_be_packed_is_a_note_and_its_contents_are_not_picked(shop):
    made = shop.start(shop.job("J-1", "valve"))
    assert [line.lot.item.part_number for line in made.lines.all()] == ["CORD"]
    note = made.notes.get(kind="pack")
    assert (note.item.part_number, note.quantity, note.job.job) == ("K-VALVE", ONE, "J-1")
    assert not made.notes.filter(item__part_number="SEAT").exists()


def test_bench_items_are_named_and_not_picked(shop):
    made = shop.start(shop.job("J-1"))
    assert not made.lines.filter(lot__item__part_number="GREASE").exists()
    assert [(note.item.part_number, note.quantity) for note in made.notes.filter(kind="bench")] == [("GREASE", None)]


def test_the_earliest_last_use_that_lasts_to_the_build_is_taken(shop):
    shop.stock("NUT", "H-0", "H1", 40, printed_last_use_on=date(2026, 3, 10))
    shop.stock("NUT", "H-2", "H1", 40, printed_last_use_on=date(2026, 4, 10))
    shop.stock("NUT", "H-3", "H1", 40, printed_last_use_on=date(2026, 5, 10))
    nuts = line_of(shop.start(shop.job("J-1", build_on=date(2026, 3, 16))), "NUT")
    assert nuts.lot.lot == "H-2"
    assert nuts.last_use_on == date(2026, 4, 10)
    assert nuts.why == (
        "Runs out first; lot H-3 at H1 lasts to 10 May 2026. "
        "Not lot H-0, which runs out on 10 Mar 2026, before the build."
    )


def test_lots_that_may_not_be_used_are_named_with_the_reason(shop):
    shop.stock("NUT", "H-7", "Q1", 5, condition="quarantine")
    shop.stock("OR-210-N70", "N-8", "A1", 5, packet="loose", cure="1Q24", cure_on=date(2024, 4, 1))
    shop.stock("NUT", "H-9", "H1", 5, printed_last_use_on=date(2025, 9, 30))
    made = shop.start(shop.job("J-1"))
    assert [line_of(made, part).why for part in ("NUT", "OR-210-N70")] == [
        "Not lot H-7 at Q1, in quarantine; not lot H-9, past its last use on 30 Sep 2025.",
        "Not lot N-8, out of its packet.",
    ]


def test_the_look_alike_in_the_same_bin_is_named_with_what_tells_them_apart(shop):
    made = shop.start(shop.job("J-1"))
    assert line_of(made, "OR-210-N70").look_alike == ("70 Shore A, not 90 Shore A: OR-210-N90 lies in the same bin.")
    assert line_of(made, "NUT").look_alike == ""


def test_the_look_alike_in_the_next_bin_is_named_too(shop):
    shop.item("OR-210-F70", form="O-ring", size="0.734 x 0.139 in", material="FKM", hardness="70 A")
    shop.stock("OR-210-F70", "F-70", "A2", 5)
    shop.stock("OR-210-N90", "N-90", "A1", 0)
    made = shop.start(shop.job("J-1"))
    assert line_of(made, "OR-210-N70").look_alike == (
        "NBR 70 Shore A, not FKM 70 Shore A: OR-210-F70 lies in the next bin, A2."
    )


def test_part_of_a_packet_of_rings_asks_for_a_label(shop):
    made = shop.start(shop.job("J-1"))
    assert line_of(made, "OR-210-N70").caution == "Close the rest again and label it."
    assert line_of(made, "K-END").caution == ""


def test_what_does_not_lie_here_is_a_note_with_its_order(shop):
    from kits.purchasing.models import OrderLine, Supplier

    supplier = Supplier.objects.create(supplier="Norrvik Seals", currency="EUR")
    shop.stock("NUT", "H-1", "H1", 3)
    OrderLine.objects.create(
        order="PO-7",
        line="2",
        supplier=supplier,
        item=shop.items["NUT"],
        quantity=ONE // 1,
        promised_on=date(2026, 3, 9),
    )
    made = shop.start(shop.job("J-1", quantity=2))
    notes = {
        (note.kind, note.item.part_number): (note.quantity / ONE, note.says)
        for note in made.notes.exclude(kind="bench")
    }
    assert notes["coming", "NUT"] == (1, "PO-7 line 2, promised 9 Mar 2026")
    assert notes["missing", "NUT"] == (4, "")
    assert shares(line_of(made, "NUT")) == [("J-1", 3)]


def test_open_lines_are_set_aside_for_their_jobs(shop):
    jobs = shop.four_jobs()
    shop.start(*jobs)
    assert Reservation.objects.get(job=jobs[0], lot__lot="H-1").quantity == 4 * ONE
    assert shop.asked(jobs[0]) == {"K-END": 2, "NUT": 4, "OR-210-N70": 2}
    assert held("NUT", job__isnull=True) == 40


def test_what_a_running_round_holds_is_not_given_twice(shop):
    shop.stock("NUT", "H-1", "H1", 6)
    shop.start(shop.job("J-1"), key="one")
    rush = shop.job("J-0", build_on=date(2026, 3, 9), priority=1)
    made = shop.start(rush, key="two")
    assert shares(line_of(made, "NUT")) == [("J-0", 2)], "four of six are held for the other job"
    with pytest.raises(PickRefusal, match="Nothing lies on the shelf to be picked for J-0"):
        shop.start(rush, key="three")


def test_a_job_on_a_running_round_is_given_only_what_came_up_since(shop):
    from kits.schedule.models import Verdict

    job = shop.job("J-1", stage="stripped")
    shop.stock("BALL", "B-1", "A2", 5)
    shop.start(job, key="one")
    for end in (1, 2):
        Verdict.objects.create(job=job, where=f"END {end} / ball", item=shop.items["BALL"], verdict="renew", found="x")
    made = shop.start(job, key="two")
    assert [(line.lot.item.part_number, shares(line)) for line in made.lines.all()] == [("BALL", [("J-1", 2)])]
    assert set(made.notes.filter(kind="other_round").values_list("item__part_number", flat=True)) == {
        "K-END", "NUT", "OR-210-N70",
    }  # fmt: skip


def test_pieces_reserved_before_the_round_are_picked_and_stay_reserved_when_it_is_given_up(shop):
    job, other = shop.job("J-1"), shop.job("J-0", build_on=date(2026, 3, 10))
    shop.stock("NUT", "H-2", "A2", 40)
    from kits.stock.models import Lot

    lot = Lot.objects.get(lot="H-2")
    Reservation.objects.create(job=job, lot=lot, quantity=3 * ONE)
    made = shop.start(job)
    lines = {line.lot.lot: shares(line) for line in made.lines.filter(lot__item__part_number="NUT")}
    assert lines == {"H-1": [("J-1", 1)], "H-2": [("J-1", 3)]}
    give_up_round(pick_round=made, by=shop.clerk, at=AT)
    assert [(row.lot.lot, row.quantity / ONE) for row in Reservation.objects.filter(job=job)] == [("H-2", 3)]
    assert shop.asked(other)["NUT"] == 4


def test_a_round_that_is_given_up_sets_its_pieces_free(shop):
    job = shop.job("J-1")
    made = shop.start(job)
    confirm_line(
        line=line_of(made, "NUT"), quantities=full(line_of(made, "NUT")), by=shop.clerk, at=AT, request_key="a"
    )
    give_up_round(pick_round=made, by=shop.clerk, at=AT)
    give_up_round(pick_round=made, by=shop.clerk, at=AT)
    assert not Reservation.objects.exists()
    assert sorted(made.lines.values_list("state", flat=True)) == ["full", "left", "left"]
    assert made.state == "given_up"


def test_the_same_request_starts_one_round(shop):
    job = shop.job("J-1")
    assert shop.start(job, key="tap") == shop.start(job, key="tap")
    assert PickRound.objects.count() == 1
    assert Reservation.objects.get(lot__lot="H-1").quantity == 4 * ONE


def test_a_held_job_cannot_be_picked(shop):
    job = shop.job("J-1", stage="held", held_because="the customer has not answered")
    with pytest.raises(PickRefusal) as refused:
        shop.start(shop.job("J-2"), job)
    assert str(refused.value) == (
        "J-1 is held (the customer has not answered) and asks for no parts: leave it out, or set its stage in the "
        "schedule to one in which it is built."
    )
    assert not PickRound.objects.exists()


@pytest.mark.parametrize("stage", ["built", "tested", "shipped", "cancelled"])
def test_a_job_that_is_done_cannot_be_picked(shop, stage):
    with pytest.raises(PickRefusal, match=f"J-1 is {stage} and asks for no parts"):
        shop.start(shop.job("J-1", stage=stage))


def test_a_round_needs_a_job(shop):
    with pytest.raises(PickRefusal, match="tick the jobs that are to be picked"):
        shop.start()


def test_a_round_is_laid_out_anew_when_somebody_wrote_meanwhile(shop, monkeypatch):
    from kits.picking import actions

    job, seen = shop.job("J-1"), []
    real = actions.lay_out_round

    def lay_out(plan, jobs, held_lines):
        draft = real(plan, jobs, held_lines)
        if not seen:
            shop.stock("NUT", "H-1", "H1", 1)
        seen.append(draft)
        return draft

    monkeypatch.setattr(actions, "lay_out_round", lay_out)
    assert shares(line_of(shop.start(job), "NUT")) == [("J-1", 1)]
    assert len(seen) == 2


@pytest.mark.django_db(transaction=True)
def test_a_round_is_laid_out_in_a_shop_that_never_rests(shop, monkeypatch):
    from kits.picking import actions

    job, tries = shop.job("J-1"), []
    real = actions.lay_out_round

    def lay_out(plan, jobs, held_lines):
        tries.append(connection.in_atomic_block)
        # Once the records are held, whoever wants to write waits.
        if not connection.in_atomic_block:
            shop.stock("NUT", "H-1", "H1", 40 + len(tries))
        return real(plan, jobs, held_lines)

    monkeypatch.setattr(actions, "lay_out_round", lay_out)
    assert shares(line_of(shop.start(job), "NUT")) == [("J-1", 4)]
    assert tries == [False] * 5 + [True]


def test_a_lot_in_two_bins_is_two_lines_and_one_reservation(shop):
    shop.stock("NUT", "H-1", "H1", 3)
    shop.stock("NUT", "H-1", "A2", 9)
    job = shop.job("J-1")
    made = shop.start(job)
    assert [(line.place.place, shares(line)) for line in made.lines.filter(lot__lot="H-1")] == [
        ("A2", [("J-1", 4)]),
    ]
    more = shop.start(shop.job("J-2", quantity=2, build_on=date(2026, 3, 17)), key="two")
    assert [(line.place.place, shares(line)) for line in more.lines.filter(lot__lot="H-1")] == [
        ("A2", [("J-2", 5)]),
        ("H1", [("J-2", 3)]),
    ]
    reservation = Reservation.objects.get(job__job="J-2", lot__lot="H-1")
    assert (reservation.quantity, reservation.place) == (8 * ONE, None)
    assert shop.asked(Job.objects.get(job="J-2"))["NUT"] == 8


def test_two_lots_of_a_look_alike_in_one_bin_are_named_once():
    shop = BenchShop()
    shop.stock("OR-210-N90", "N-91", "A1", 5, cure="2Q23", cure_on=date(2023, 7, 1))
    shop.stock("OR-210-N90", "N-92", "A1", 5, cure="2Q23", cure_on=date(2023, 7, 1))
    line = line_of(shop.start(shop.job("J-1")), "OR-210-N70")
    assert line.look_alike == "70 Shore A, not 90 Shore A: OR-210-N90 lies in the same bin."
