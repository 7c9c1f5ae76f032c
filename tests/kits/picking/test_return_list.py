"""What a changed job holds and needs no more stands on the return list until the clerk has worked it off."""

from dataclasses import replace
from datetime import date

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import ScopeSection, Setting
from kits.picking.actions import confirm_line, give_up_round
from kits.picking.changes.actions import change_job, free_set_aside
from kits.picking.changes.return_list import return_rows
from kits.picking.errors import PickRefusal
from kits.schedule.errors import ScheduleRefusal
from kits.schedule.models import Job, JobChange
from kits.schedule.writes import Planned
from kits.stock.actions import take_from_bench
from kits.stock.ledger import Entry, OnShelf, WithJob, post
from kits.stock.models import KitPiece, Lot, Reservation
from kits.stock.queries import ledger_differences
from tests.kits.picking.bench_shop import AT, BenchShop, full, held, line_of

pytestmark = pytest.mark.django_db
WHY = "one end is good"


@pytest.fixture
def shop():
    return BenchShop()


@pytest.fixture
def job(shop):
    """A job with two kits, two rings and four nuts in its bag."""
    return pick(shop, shop.job("J-1"))


def pick(shop, job):
    shop.pick(job, key=job.job)
    return job


def change(shop, job, key="change", **wanted):
    job = Job.objects.select_related("pump").get(pk=job.pk)
    seen = Planned.of(job)
    return change_job(job=job, seen=seen, wanted=replace(seen, **wanted), why=WHY, by=shop.clerk, at=AT, key=key)


def listed(shop):
    return [(row.job, row.part_number, row.lot, row.quantity.text, row.where) for row in return_rows(shop.plan())]


IN_BAG = "in its bag"


def test_a_job_that_needs_what_it_holds_has_nothing_to_return(shop, job):
    assert listed(shop) == []


def test_a_smaller_scope_returns_what_it_does_not_take(shop, job):
    change(shop, job, scope="one")
    assert listed(shop) == [
        ("J-1", "K-END", "K-1", "1", IN_BAG),
        ("J-1", "NUT", "H-1", "2", IN_BAG),
        ("J-1", "OR-210-N70", "N-70", "1", IN_BAG),
    ]
    assert {row.why for row in return_rows(shop.plan())} == {f"changed by clerk, scope one, before both: {WHY}"}


def test_another_scope_returns_all_that_only_the_first_took(shop, job):
    change(shop, job, scope="valve")
    assert [(row[1], row[3]) for row in listed(shop)] == [("K-END", "2"), ("NUT", "4"), ("OR-210-N70", "2")]


def test_fewer_pumps_return_what_was_for_the_others(shop):
    job = pick(shop, shop.job("J-1", "one", quantity=3))
    change(shop, job, quantity=2)
    assert [(row[1], row[3]) for row in listed(shop)] == [("K-END", "1"), ("NUT", "2"), ("OR-210-N70", "1")]
    change(shop, job, key="back", quantity=3)
    assert listed(shop) == [], "it needs them again"


def test_another_option_returns_the_parts_of_the_first(shop):
    for part, option in (("SEAT", "fluid=water"), ("BALL", "fluid=oil")):
        shop.line("END", part, 1, "renew", "collar", option=option)
    job = pick(shop, shop.job("J-1", "one", option="fluid=water"))
    change(shop, job, option="fluid=oil")
    assert [(row[1], row[3]) for row in listed(shop)] == [("SEAT", "1")]


def test_another_pump_returns_what_it_does_not_take(shop, job):
    shop.item("OTHER", "pump")
    shop.line("OTHER", "VALVE", 1, "open")
    ScopeSection.objects.create(pump=shop.items["OTHER"], scope="valves", section=shop.items["VALVE"], how_many=1)
    with pytest.raises(ScheduleRefusal, match="OTHER has no scope “both” for J-1; known for it: valves"):
        change(shop, job, pump="OTHER")
    with pytest.raises(ScheduleRefusal, match="No pump NUT is known for J-1"):
        change(shop, job, pump="NUT")
    change(shop, job, pump="OTHER", scope="valves")
    assert [(row[1], row[3]) for row in listed(shop)] == [("K-END", "2"), ("NUT", "4"), ("OR-210-N70", "2")]
    row = JobChange.objects.get()
    assert (row.pump_before, row.pump, row.scope_before, row.scope) == ("PUMP", "OTHER", "both", "valves")


def test_a_job_with_lines_to_pick_is_not_made_another_rebuild_but_moved(shop):
    job = shop.job("J-1")
    made = shop.start(job)
    for wanted in ({"scope": "one"}, {"quantity": 2}, {"option": "fluid=oil"}):
        with pytest.raises(PickRefusal, match=rf"to pick on round {made.pk}: .* before the job is changed"):
            change(shop, job, **wanted)
    change(shop, job, build_on=date(2026, 3, 20), priority=1)
    give_up_round(pick_round=made, by=shop.clerk, at=AT)
    change(shop, job, key="now", scope="one")


def test_the_list_is_worked_off_lot_by_lot(shop, job):
    change(shop, job, scope="one")
    lot = Lot.objects.get(lot="H-1")
    target = OnShelf(lot.pk, shop.places["H1"].pk, packet="resealed")
    source = WithJob(lot.pk, job.pk, "bagged")
    said = {"reason": "", "by": shop.clerk, "at": AT}
    take_from_bench(source=source, target=target, quantity=ONE, key="one", **said)
    assert ("J-1", "NUT", "H-1", "1", IN_BAG) in listed(shop)
    take_from_bench(source=source, target=target, quantity=ONE, key="two", **said)
    assert [row[1] for row in listed(shop)] == ["K-END", "OR-210-N70"]
    assert (held("NUT", job=job), ledger_differences()) == (2, [])


def test_what_was_set_aside_beyond_the_need_is_set_free(shop):
    job, lot = shop.job("J-1"), Lot.objects.get(lot="H-1")
    Reservation.objects.create(job=job, lot=lot, quantity=4 * ONE, place=shop.places["H1"])
    assert listed(shop) == []
    change(shop, job, scope="one")
    assert listed(shop) == [("J-1", "NUT", "H-1", "2", "set aside on the shelf")]
    said = {"job": job, "lot_id": lot.pk, "by": shop.clerk, "at": AT}
    with pytest.raises(PickRefusal, match="4 of that lot is set aside for J-1 by now, not 5"):
        free_set_aside(quantity=5 * ONE, key="five", **said)
    assert free_set_aside(quantity=2 * ONE, key="free", **said) == 2 * ONE
    assert (listed(shop), Reservation.objects.get().quantity) == ([], 2 * ONE)
    free_set_aside(quantity=2 * ONE, key="rest", **said)
    assert not Reservation.objects.exists()


def test_pieces_that_a_position_without_a_verdict_may_take_stay(shop, job):
    shop.stock("BALL", "B-1", "A2", 5)
    Reservation.objects.create(job=job, lot=Lot.objects.get(lot="B-1"), quantity=3 * ONE)
    assert listed(shop) == [("J-1", "BALL", "B-1", "1", "set aside on the shelf")]
    shop.looked_at(job)
    assert listed(shop) == [("J-1", "BALL", "B-1", "3", "set aside on the shelf")]


def test_of_two_lots_the_one_that_lasts_longer_comes_back(shop):
    shop.stock("NUT", "H-0", "H1", 3, printed_last_use_on=date(2026, 4, 30))
    job = pick(shop, shop.job("J-1"))
    assert {lot: held("NUT", job=job, lot__lot=lot) for lot in ("H-0", "H-1")} == {"H-0": 3, "H-1": 1}
    change(shop, job, scope="one")
    assert [row[2:4] for row in listed(shop) if row[1] == "NUT"] == [("H-0", "1"), ("H-1", "1")]


def test_a_lot_that_dies_before_the_build_comes_back(shop, job):
    change(shop, job, build_on=date(2026, 4, 10))
    rows = return_rows(shop.plan())
    assert [(row.part_number, row.quantity.text, row.why) for row in rows] == [
        ("K-END", "2", "may be used up to 31 Mar 2026, and the pump is built on 10 Apr 2026")
    ]
    Setting.objects.filter(name="today").update(value="2026-04-20")
    with transaction.atomic():
        mark_shop()
        Job.objects.update(build_on=date(2026, 3, 16))
    assert [row.part_number for row in return_rows(shop.plan())] == []


def test_a_loose_piece_in_the_place_of_what_a_kit_lacks_stays(shop, job):
    lot = Lot.objects.get(lot="N-90")
    with transaction.atomic():
        mark_shop()
        ring = shop.items["OR-210-N90"]
        shelf, bag = OnShelf(lot.pk, shop.places["A1"].pk), WithJob(lot.pk, job.pk, "issued")
        entries = [Entry(shelf, -2 * ONE), Entry(bag, 2 * ONE)]
        post(entries=entries, kind="pick", by=None, at=AT, key="extra")
    assert listed(shop) == [("J-1", "OR-210-N90", "N-90", "2", IN_BAG)]
    with transaction.atomic():
        mark_shop()
        KitPiece.objects.create(kit_lot=Lot.objects.get(lot="K-1"), item=ring, quantity=0)
    assert listed(shop) == []


def test_a_job_that_is_held_keeps_its_bag(shop, job):
    with transaction.atomic():
        mark_shop()
        Job.objects.update(stage="held", held_because="no order")
    assert listed(shop) == []


def test_nothing_of_a_round_that_is_walked_is_beyond_the_need(shop):
    job = shop.job("J-1")
    made = shop.start(job)
    assert listed(shop) == []
    nuts = line_of(made, "NUT")
    confirm_line(line=nuts, quantities=full(nuts), by=shop.clerk, at=AT, request_key="nuts")
    assert listed(shop) == []
