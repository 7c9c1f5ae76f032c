"""A substitute is told beside a short line in the allowed direction only, where it lies on the shelf, and goes into the
bag with a reason; from then on it counts as the part in whose place it goes."""

from dataclasses import replace
from datetime import date

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import Substitute
from kits.picking.actions import confirm_line, give_up_round
from kits.picking.bags.actions import enter_paper_pick, give_stand_in, hand_over
from kits.picking.bags.instead import instead_sheet
from kits.picking.bags.sheet import bag_sheet
from kits.picking.bags.tags import check_of
from kits.picking.care.change_over import change_over
from kits.picking.changes.actions import give_up_job
from kits.picking.changes.return_list import return_rows
from kits.picking.errors import PickRefusal
from kits.picking.models import Bag, PickLine, PickRound
from kits.picking.rounds.sheet import round_sheet
from kits.picking.stand_ins.allowed import stand_ins
from kits.picking.stand_ins.given import given_rows
from kits.picking.tray import tray_sheet
from kits.planning.queries import plan_now
from kits.planning.sheets.suspect import suspect_sheet
from kits.schedule.models import Job
from kits.schedule.writes import Planned
from kits.stock.actions import take_from_bench
from kits.stock.ledger import Entry, OnShelf, WithJob, post, reverse
from kits.stock.models import Balance, Lot, Reservation, StandIn
from kits.stock.queries import ledger_differences
from tests.kits.picking.bench_shop import AT, BenchShop, held, line_of


@pytest.fixture
def shop(db):
    return BenchShop()


def allow(shop, item, other, direction):
    Substitute.objects.create(
        item=shop.items[item],
        substitute=shop.items[other],
        direction=direction,
        approved_by="service lead",
        note="harder",
    )


def named(shop, item):
    return [(one.part_number, one.places) for one in stand_ins(shop.items[item])]


def test_one_way_is_never_the_other_way_round(shop):
    allow(shop, "OR-210-N70", "OR-210-N90", "one_way")
    assert named(shop, "OR-210-N70") == [("OR-210-N90", ("A1",))]
    assert named(shop, "OR-210-N90") == []
    [row] = stand_ins(shop.items["OR-210-N70"])
    assert (row.allowed_by, row.note) == ("service lead", "harder")


def test_both_ways_are_told_both_ways(shop):
    allow(shop, "OR-210-N70", "OR-210-N90", "both")
    assert named(shop, "OR-210-N90") == [("OR-210-N70", ("A1",))]


def test_what_does_not_lie_here_or_may_not_be_used_is_not_told(shop):
    allow(shop, "SEAT", "BALL", "one_way")
    assert named(shop, "SEAT") == []
    shop.stock("BALL", "B-1", "Q1", 4, condition="quarantine")
    assert named(shop, "SEAT") == []
    shop.stock("BALL", "B-2", "H1", 4)
    assert named(shop, "SEAT") == [("BALL", ("H1",))]


@pytest.fixture
def short(shop):
    """One pump needs two rings 70, of which one lies here; two rings 90 may go in their place, never the other way."""
    allow(shop, "OR-210-N70", "OR-210-N90", "one_way")
    job = shop.job("J-1", "both", stage="stripped")
    shop.looked_at(job)
    made = shop.start(job)
    line = line_of(made, "OR-210-N70")
    confirm_line(line=line, quantities={job.pk: ONE}, counted=ONE, by=shop.clerk, at=AT, request_key="short")
    return job


def ring_90(shop):
    """Where it lies: in a packet that was opened, once somebody took from it."""
    held = Balance.objects.on_shelf().filter(lot__lot="N-90", quantity__gt=0).get()
    return OnShelf(held.lot_id, shop.places["A1"].pk, packet=held.packet)


def give(shop, job, *, wanted="OR-210-N70", quantity=1, key="instead", reason="none of it is left", source=None):
    around = {"by": shop.clerk, "at": AT, "key": key, "reason": reason}
    source = source or ring_90(shop)
    return give_stand_in(job=job, wanted=shop.items[wanted], source=source, quantity=quantity * ONE, **around)


def test_the_plan_asks_no_more_for_what_another_part_stands_in_for(shop, short):
    before = shop.asked(short)
    assert before["OR-210-N70"] == 1
    give(shop, short)
    after = shop.asked(short)
    assert "OR-210-N70" not in after
    assert {**before, "OR-210-N70": 0} == {**after, "OR-210-N70": 0}, "nothing else is asked for, more or less"
    assert held("OR-210-N90", job=short, state="bagged") == 1
    assert held("OR-210-N70", job=short, state="bagged") == 1
    assert return_rows(shop.plan()) == [], "what stands in is not held for nothing"
    assert ledger_differences() == []


def test_the_reason_and_what_was_wanted_stay(shop, short):
    give(shop, short, reason="what lay there is damaged")
    [row] = given_rows([short])
    assert (row.wanted, row.part_number, row.lot, row.reason) == (
        "OR-210-N70", "OR-210-N90", "N-90", "what lay there is damaged",
    )  # fmt: skip
    assert row.by == "clerk"
    with pytest.raises(PickRefusal, match="Nothing says why"):
        give(shop, short, key="no reason", reason=" ")


def test_it_is_booked_once_and_no_more_than_the_bag_lacks(shop, short):
    assert give(shop, short) == give(shop, short)
    with pytest.raises(PickRefusal, match="lacks 0 of OR-210-N70 by now"):
        give(shop, short, key="again")
    assert StandIn.objects.count() == 1


def test_the_other_way_round_and_strangers_are_refused(shop, short):
    seventy = OnShelf(shop.stock("OR-210-N70", "N-71", "A2", 4).pk, shop.places["A2"].pk)
    with pytest.raises(PickRefusal, match="OR-210-N70 is not allowed in the place of OR-210-N90"):
        give(shop, short, wanted="OR-210-N90", source=seventy)
    with pytest.raises(PickRefusal, match="OR-210-N90 is not allowed in the place of NUT"):
        give(shop, short, wanted="NUT")
    assert not StandIn.objects.exists()


def test_what_an_open_line_is_to_bring_is_not_lacking(shop):
    allow(shop, "OR-210-N70", "OR-210-N90", "one_way")
    job = shop.job("J-1", "both", stage="stripped")
    shop.start(job)
    assert not instead_sheet(shop.plan(), job, shop.items["OR-210-N70"]).lacks
    with pytest.raises(PickRefusal, match="lacks 0"):
        give(shop, job)


def test_what_comes_back_is_asked_for_again(shop, short):
    posting = give(shop, short)
    with transaction.atomic():
        mark_shop()
        reverse(posting=posting, by=shop.clerk, at=AT, key="back", reason="put back")
    assert shop.asked(short)["OR-210-N70"] == 1
    assert list(given_rows([short])) == []


def test_what_was_returned_from_the_bag_counts_no_more(shop, short):
    give(shop, short)
    bagged = WithJob(ring_90(shop).lot_id, short.pk, "bagged", None)
    with transaction.atomic():
        mark_shop()
        entries = [Entry(bagged, -ONE), Entry(ring_90(shop), ONE)]
        post(entries=entries, kind="return_to_lot", by=shop.clerk, at=AT, key="returned", job=short)
    assert shop.asked(short)["OR-210-N70"] == 1


def test_it_goes_to_the_bench_and_into_the_pump_as_what_it_stands_in_for(shop, short):
    give(shop, short)
    bag = Bag.objects.get(job=short)
    hand_over(bag=bag, taken_by="Ana", where="", by=shop.clerk, at=AT, key="taken")
    assert "OR-210-N70" not in shop.asked(short)
    check = check_of(shop.plan(), short)
    assert "OR-210-N70" not in check.missing
    assert "OR-210-N90" not in check.beyond
    assert not any(row.surplus for row in bag_sheet(shop.plan(), bag).rows if row.part_number == "OR-210-N90")


def test_the_tray_names_it_at_the_place_of_what_it_stands_in_for(shop, short):
    give(shop, short)
    rows = [row for tray in tray_sheet(plan_now(), short).trays for row in tray.rows]
    rows = [row for row in rows if row.part.name.part_number == "OR-210-N70"]
    found = [(lot.amount.text, lot.stands_in, lot.lot) for row in rows for lot in row.lots]
    assert found == [("1", "", "N-70"), ("1", "OR-210-N90", "N-90")]
    assert not any(row.missing for row in rows)


def test_what_is_set_aside_for_others_too_old_or_under_suspicion_does_not_stand_in(shop, short):
    lot = ring_90(shop).lot_id
    Reservation.objects.create(job=shop.job("J-9", "one"), lot_id=lot, quantity=20 * ONE)
    with pytest.raises(PickRefusal, match="set aside for J-9"):
        give(shop, short, key="aside")
    Reservation.objects.all().delete()
    Lot.objects.filter(pk=lot).update(printed_last_use_on=date(2026, 3, 10))
    with pytest.raises(PickRefusal, match="may be used up to"):
        give(shop, short, key="old")
    assert instead_sheet(shop.plan(), short, shop.items["OR-210-N70"]).rows == ()


def test_what_stood_in_for_a_job_that_is_given_up_stands_on_its_return_list(shop, short):
    give(shop, short)
    give_up_round(pick_round=PickRound.objects.get(), by=shop.clerk, at=AT)
    seen = Planned.of(Job.objects.select_related("pump").get(pk=short.pk))
    give_up_job(job=short, seen=seen, why="no order", by=shop.clerk, at=AT, key="given up")
    rows = [(row.part_number, row.lot, row.quantity.text, row.where) for row in return_rows(shop.plan())]
    assert rows == [("OR-210-N70", "N-70", "1", "in its bag"), ("OR-210-N90", "N-90", "1", "in its bag")]


def bring_back(shop, job, quantity=1, key="brought back"):
    """Pieces of the ring 90 go back from the bag to their place."""
    source = WithJob(ring_90(shop).lot_id, job.pk, "bagged")
    said = {"quantity": quantity * ONE, "reason": "", "by": shop.clerk, "at": AT, "key": key}
    return take_from_bench(source=source, target=replace(ring_90(shop), packet="resealed"), **said)


def pick_90(shop, job, quantity=1, key="picked"):
    """Ring 90 of the same lot, asked for as what it is."""
    said = {"picked_on": date(2026, 3, 4), "by": shop.clerk, "at": AT, "key": key}
    return enter_paper_pick(job=job, source=ring_90(shop), quantity=quantity * ONE, **said)


def shown(shop, job):
    """What stands in by the bag, by the line of the round, and by the plan."""
    line = PickLine.objects.get(lot__item__part_number="OR-210-N70")
    sheets = (
        bag_sheet(shop.plan(), Bag.objects.get(job=job)).stand_ins,
        round_sheet(line.pick_round_id, line.pk).current.given,
    )
    issues = [one.quantity for one in shop.plan().shop.issues if one.lot == "OR-210-N90 N-90"]
    return *([row.quantity.text for row in rows] for rows in sheets), [quantity // ONE for quantity in issues]


def test_what_came_back_stands_in_no_more_and_a_later_pick_of_its_lot_is_what_it_is(shop, short):
    give(shop, short)
    assert shown(shop, short) == (["1"], ["1"], [1])
    returned = bring_back(shop, short)
    pick_90(shop, short)
    assert shown(shop, short) == ([], [], [])
    assert shop.asked(short)["OR-210-N70"] == 1
    with transaction.atomic():
        mark_shop()
        reverse(posting=returned, by=shop.clerk, at=AT, key="not brought", reason="it stayed in the bag")
    assert shown(shop, short) == (["1"], ["1"], [1])


def test_pieces_of_a_lot_that_left_before_it_stood_in_take_nothing_off_it(shop, short):
    pick_90(shop, short)
    bring_back(shop, short)
    give(shop, short)
    assert shown(shop, short) == (["1"], ["1"], [1])


def test_of_two_that_stand_in_the_first_goes_back_first(shop, short):
    first = give(shop, short)
    bring_back(shop, short)
    again = give(shop, short, key="again", reason="what lay there is damaged")
    assert [row.reason for row in given_rows([short])] == ["what lay there is damaged"]
    assert first != again
    bring_back(shop, short, key="back again")
    assert list(given_rows([short])) == []


def test_a_lot_under_suspicion_is_found_in_the_bags_in_which_it_stands_in(shop, short):
    give(shop, short)
    lot = Lot.objects.select_related("item").get(lot="N-90")
    lost = suspect_sheet(shop.plan(), lot).without_bags
    assert lost is not None
    assert [row.asker.name for row in lost.jobs] == ["J-1"]


def test_a_job_has_the_number_that_lies_in_its_bag_not_the_one_in_whose_place_it_lies(shop, short):
    assert change_over(shop.plan(), shop.items["OR-210-N90"]).tied == ()
    give(shop, short)
    assert change_over(shop.plan(), shop.items["OR-210-N90"]).tied == ("J-1",)
    source = WithJob(Lot.objects.get(lot="N-70").pk, short.pk, "bagged")
    target = OnShelf(source.lot_id, shop.places["A1"].pk, packet="resealed")
    around = {"reason": "", "by": shop.clerk, "at": AT, "key": "seventy"}
    assert change_over(shop.plan(), shop.items["OR-210-N70"]).tied == ("J-1",)
    take_from_bench(source=source, target=target, quantity=ONE, **around)
    assert change_over(shop.plan(), shop.items["OR-210-N70"]).tied == ()
