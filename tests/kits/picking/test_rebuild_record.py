"""The record of a rebuild says what the ledger says, in words that match what was done; a serial what comes back."""

from collections import defaultdict
from datetime import date

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.models import Substitute
from kits.picking.closing.actions import OpenedAgain, close_job, record_failed_test, record_test, take_step_back
from kits.picking.closing.bag_decision import LeftOver
from kits.picking.errors import PickRefusal
from kits.picking.records.record import rebuild_record
from kits.picking.records.serial_history import serial_history
from kits.picking.records.used import pumps_of_lot
from kits.picking.words import LeftGoes
from kits.planning.queries import plan_now
from kits.schedule.models import Finding, Job, Verdict
from kits.service.testing.judging import TestSaid
from kits.stock.models import KitPiece, Lot, Movement
from tests.kits.picking.bench_shop import AT, BenchShop
from tests.kits.web.shops import load_demo

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return BenchShop()


def look(job, *verdicts):
    """Say of the ball of each end what was found on it."""
    with transaction.atomic():
        mark_shop()
        for end, (verdict, found) in enumerate(verdicts, 1):
            item = job.pump.lines.get(child__part_number="END").child.lines.get(position="ball").child
            Verdict.objects.create(
                job=job, where=f"pump 1 / END {end} / ball", item=item, verdict=verdict, found=found,
                measured="7.90", unit="mm", limit="7.92",
            )  # fmt: skip


def build(shop, job, *verdicts, key="", left=()):
    look(job, *verdicts)
    shop.pick(job, key=f"pick {job}{key}")
    close_job(job=job, decisions=left, by=shop.clerk, at=AT, key=f"close {job}{key}", why="balls from the bench")
    job.refresh_from_db()
    return job


def fail(shop, job):
    again = OpenedAgain("one", 1, date(2026, 3, 20))
    record_failed_test(job=job, sheet=TestSaid({}, says="weeps"), again=again, by=shop.clerk, at=AT, key=f"fail {job}")
    job.refresh_from_db()


def record(job):
    return rebuild_record(plan_now(), Job.objects.select_related("pump").get(pk=job.pk))


def net_issued(job):
    """What the ledger says of a job by itself: all that went to it less all that came back, lot by lot."""
    found = defaultdict(int)
    rows = Movement.objects.filter(posting__job=job, balance__job=job).exclude(posting__kind="consume")
    for lot, quantity in rows.values_list("balance__lot__lot", "quantity"):
        found[lot] += quantity
    return {lot: quantity // ONE for lot, quantity in found.items() if quantity}


def on_record(job):
    found = defaultdict(int)
    for part in record(job).parts:
        if part.depth == 0:
            found[part.lot] += part.quantity.millionths // ONE
    return dict(found)


GOOD, WORN = ("keep", ""), ("renew", "pitted")


def test_the_record_is_the_net_issue_of_the_ledger_lot_by_lot(shop):
    """By hand: both ends take 2 kits, 4 nuts and 2 shank rings; 1 nut came back and 1 was scrapped."""
    nuts = Lot.objects.get(lot="H-1").pk
    left = [LeftOver(nuts, ONE, LeftGoes.BACK), LeftOver(nuts, ONE, LeftGoes.SCRAP, reason="dropped")]
    job = build(shop, shop.job("J-1", stage="stripped"), GOOD, GOOD, left=left)
    assert on_record(job) == net_issued(job) == {"K-1": 2, "H-1": 2, "N-70": 2}


def test_after_a_failed_test_the_record_holds_both_strips_and_still_is_the_ledger(shop):
    job = build(shop, shop.job("J-1", stage="stripped"), WORN, GOOD)
    Finding.objects.create(job=job, finding="metal in the oil", note="much")
    fail(shop, job)
    build(shop, job, GOOD, key=" again")
    record_test(job=job, says="10 minutes, no drop", by=shop.clerk, at=AT, key="test")
    sheet = record(job)
    assert on_record(job) == net_issued(job) == {"K-1": 3, "H-1": 6, "N-70": 3}
    first, second = sheet.strips
    assert {part.lot: part.quantity.text for part in second.parts} == {"K-1": "1", "H-1": "2", "N-70": "1"}
    assert (first.scope, first.work) == ("both", "2 of 2 END of the test")
    assert (second.scope, second.work, second.left_closed) == ("one", "1 of 2 END of the test",
                                                              "1 END of the test; 1 VALVE of the test")  # fmt: skip
    assert [(row.where, row.says, row.found, row.read) for row in first.worn] == [
        ("END 1 / ball", "renewed", "pitted", "7.90 mm, limit 7.92")
    ]
    assert (first.good, second.good) == (1, 1)
    assert [(one.finding, one.note) for one in first.findings] == [("metal in the oil", "much")]
    assert [(test.passed, test.says) for test in (*first.tests, *second.tests)] == [
        (False, "weeps"), (True, "10 minutes, no drop"),
    ]  # fmt: skip
    assert sheet.is_final
    assert [step.after for step in sheet.steps] == ["built", "stripped", "built", "tested"]


def test_what_was_not_opened_is_said_and_what_was_is_counted_over_all_pumps(shop):
    job = shop.job("J-1", scope="one", quantity=3, stage="stripped")
    (strip,) = record(job).strips
    assert (strip.work, strip.left_closed) == ("3 of 6 END of the test", "3 END of the test; 3 VALVE of the test")


def test_what_lay_in_a_kit_stands_below_it_with_its_own_lot(shop):
    kit, ring = Lot.objects.get(lot="K-1"), Lot.objects.get(lot="N-90")
    Lot.objects.filter(pk=ring.pk).update(certificate="C-7", maker_batch="B-9")
    KitPiece.objects.create(kit_lot=kit, item=ring.item, piece_lot=ring, quantity=ONE)
    job = build(shop, shop.job("J-1", serial="S-1", stage="stripped"), GOOD, GOOD)
    rows = [row for row in record(job).parts if row.part_number in ("K-END", "OR-210-N90")]
    assert [(row.depth, row.lot, row.quantity.text, row.cure, row.certificate, row.maker_batch) for row in rows] == [
        (0, "K-1", "2", "", "", ""), (1, "N-90", "2", "1Q23", "C-7", "B-9"),
    ]  # fmt: skip
    (pump,) = pumps_of_lot(ring)
    assert (pump.serial, pump.job, pump.quantity.text, pump.inside) == ("S-1", "J-1", "2", "K-END, lot K-1")
    assert [(one.serial, one.inside) for one in pumps_of_lot(kit)] == [("S-1", "")]


def test_a_lot_that_is_only_in_a_bag_went_into_no_pump_yet(shop):
    job = shop.job("J-1", stage="stripped")
    shop.pick(job)
    assert pumps_of_lot(Lot.objects.get(lot="H-1")) == []


def test_a_part_that_stands_in_for_another_is_named_with_who_approved_it(shop):
    job = build(shop, shop.job("J-1", stage="stripped"), GOOD, GOOD)
    nut = shop.items["NUT"]
    Substitute.objects.create(item=shop.items["SEAT"], substitute=nut, direction="one_way", approved_by="Lee")
    assert record(job).stand_ins == (), "the pump holds the nut itself"
    nut.used_on.all().delete()
    with transaction.atomic():
        mark_catalog()
    assert [(one.part_number, one.stands_for, one.approved_by) for one in record(job).stand_ins] == [
        ("NUT", "SEAT", "Lee")
    ]


def three_rebuilds(shop):
    """One pump in January 2025, September 2025 and March 2026, its first ball pitted each time."""
    days = (date(2025, 1, 10), date(2025, 9, 1), date(2026, 3, 16))
    jobs = [shop.job(f"J-{n}", serial="S-1", build_on=day, stage="shipped") for n, day in enumerate(days, 1)]
    look(jobs[0], WORN, GOOD)
    look(jobs[1], ("renew", "ring mark"), WORN)
    look(jobs[2], WORN, GOOD)
    return jobs


def test_what_comes_back_is_told_with_how_often_and_in_how_many_months(shop):
    """By hand: from 10 January 2025 to 16 March 2026 are 14 months and 6 days."""
    jobs = three_rebuilds(shop)
    history = serial_history("S-1")
    assert [row.job for row in history.rebuilds] == ["J-3", "J-2", "J-1"]
    assert [row.months_after for row in history.rebuilds] == [6, 7, None]
    (repeat,) = history.repeats
    assert (repeat.says, repeat.where, repeat.jobs) == (
        "BALL of the test again, third time in 14 months", "END 1 / ball", ("J-1", "J-2", "J-3"),
    )  # fmt: skip
    assert [one.says for one in record(jobs[2]).repeats] == [repeat.says]
    assert len(history.findings) == 6


def test_a_position_renewed_with_its_group_does_not_count_as_coming_back(shop):
    three_rebuilds(shop)
    Verdict.objects.filter(job__job="J-2").update(with_group=True, found="")
    assert serial_history("S-1").repeats[0].times == 2


def test_two_strips_of_one_rebuild_are_one_time(shop):
    job = build(shop, shop.job("J-1", serial="S-1", stage="stripped"), WORN, GOOD)
    fail(shop, job)
    look(job, WORN)
    assert serial_history("S-1").repeats == ()
    assert serial_history("S-1").rebuilds[0].strips == 2


def test_the_last_rebuild_stands_against_this_one(shop):
    jobs = three_rebuilds(shop)
    sheet = record(jobs[2])
    assert (sheet.before.job, sheet.months_after) == ("J-2", 6)
    assert [(row.where, row.then, row.now) for row in sheet.compared] == [
        ("END 1 / ball", "renewed: ring mark", "renewed: pitted"), ("END 2 / ball", "renewed: pitted", "good"),
    ]  # fmt: skip
    assert record(jobs[0]).before is None


def test_a_serial_that_no_job_names_has_no_history(shop):
    assert serial_history("S-9") is None
    assert serial_history("") is None


def test_what_is_opened_inside_another_section_was_not_left_closed():
    """A full reseal of a demo pump opens both hydraulic ends, and with them the four check valves inside."""
    load_demo()
    (strip,) = record(Job.objects.get(job="J-3101")).strips
    assert strip.work.endswith("2 of 2 joint, end to 6 in drive; 2 of 2 hydraulic end, plunger 3/4 in")
    assert strip.left_closed == ""


def test_what_was_renewed_with_its_group_is_not_said_to_have_gone_back_in():
    """In the demo one of two bumpers is torn: the good one is renewed with it, also once the pump is built."""
    load_demo()
    job = Job.objects.get(job="J-3101")
    for stage in ("stripped", "shipped"):
        with transaction.atomic():
            mark_shop()
            Job.objects.filter(pk=job.pk).update(stage=stage)
        (strip,) = record(job).strips
        bumpers = [(row.where, row.says) for row in strip.worn if row.part_number == "BU-6"]
        assert bumpers == [
            ("D6 1 / each air head 1", "renewed"), ("D6 1 / each air head 2", "good, but renewed with its group"),
        ]  # fmt: skip
        assert (strip.good, len(strip.verdicts)) == (20, 28)


# --- a failed test that was a mistake


def back(shop, job, why="another pump was on the bench"):
    said = {"seen": "stripped", "why": why, "by": shop.clerk, "at": AT, "key": f"back {job}"}
    step = take_step_back(job=job, **said)
    job.refresh_from_db()
    return step


def said_of(job):
    return list(Verdict.objects.filter(job=job).order_by("where").values_list("where", "verdict", "found", "measured"))


def test_a_failed_test_that_was_a_mistake_is_taken_back_with_the_strip_that_it_began(shop):
    job = build(shop, shop.job("J-1", stage="stripped"), WORN, GOOD)
    Finding.objects.create(job=job, finding="metal in the oil", note="much")
    before, planned, used = said_of(job), (job.scope, job.quantity, job.build_on), on_record(job)
    fail(shop, job)
    assert (job.scope, said_of(job)) == ("one", [])
    step = back(shop, job)
    assert (step.before, step.after, step.says) == (
        "stripped",
        "built",
        "test taken back: another pump was on the bench",
    )
    assert (said_of(job), (job.scope, job.quantity, job.build_on)) == (before, planned)
    assert [one.finding for one in Finding.objects.filter(job=job)] == ["metal in the oil"]
    assert on_record(job) == used == net_issued(job)
    assert len(record(job).strips) == 1
    record_test(job=job, says="10 minutes, no drop", by=shop.clerk, at=AT, key="test")
    assert record(job).is_final


def test_it_stands_where_its_new_strip_report_was_begun_or_parts_were_set_aside(shop):
    job = build(shop, shop.job("J-1", stage="stripped"), GOOD, GOOD)
    fail(shop, job)
    look(job, GOOD)
    with pytest.raises(PickRefusal, match="its strip report was begun anew"):
        back(shop, job)
    with transaction.atomic():
        mark_shop()
        Verdict.objects.filter(job=job).delete()
    shop.start(job, key="again")
    with pytest.raises(PickRefusal, match="parts were given to it, or set aside for it"):
        back(shop, job)
    assert Job.objects.get(pk=job.pk).stage == "stripped"


def test_a_pump_that_no_test_opened_has_none_to_take_back(shop):
    with pytest.raises(PickRefusal, match="there is no test to take back"):
        back(shop, shop.job("J-1", stage="stripped"))
