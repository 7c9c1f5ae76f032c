"""A pump is tested against the shop's own limits; one that has not passed is stripped once more and picked anew."""

from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import partial

import pytest

from bom.demand.requirements import gather_demand
from kits.picking.closing.actions import OpenedAgain, close_job, record_failed_test, record_test, take_step_back
from kits.picking.errors import PickRefusal
from kits.picking.queries import lots_used
from kits.planning.queries import plan_now
from kits.planning.sheets.schedule import quiet_jobs
from kits.schedule.errors import ScheduleRefusal
from kits.schedule.models import Finding, JobStep, Verdict
from kits.service.errors import ServiceRefusal
from kits.service.models import Gauge, PastFinding, PastStrip, PumpLimit, PumpTest
from kits.service.testing.actions import LimitSaid, set_gauge, set_limits
from kits.service.testing.judging import TestSaid
from kits.stock.queries import ledger_differences
from tests.kits.kept_rows import kept_step, step_once
from tests.kits.picking.bench_shop import AS_OF, AT, BenchShop, held

pytestmark = pytest.mark.django_db

GOOD = {"stall": "620", "held": "10", "fall": "3", "leak_out": "0"}
AGAIN = OpenedAgain("one", 1, date(2026, 3, 20))


@pytest.fixture
def shop():
    shop = BenchShop()
    shop.gauge = step_once("tested to limits", partial(limit, shop))
    return shop


def limit(shop):
    set_limits(
        pump=shop.items["PUMP"],
        limits={
            "stall": LimitSaid(Decimal(600), Decimal(650), "bar", how="6 bar of air, outlet closed"),
            "held": LimitSaid(Decimal(10), None, "min"),
            "fall": LimitSaid(None, Decimal(5), "bar"),
            "leak_out": LimitSaid(None, Decimal(0), "drops/min"),
        },
        why="first limits",
        by=shop.clerk,
        at=AT,
    )
    return gauge(shop, "G-1", AS_OF)


def gauge(shop, name, due_on):
    said = {"reads": "0 to 1000 bar", "calibrated_on": None, "certificate": ""}
    return set_gauge(gauge=name, due_on=due_on, why="", by=shop.clerk, at=AT, **said)


@kept_step
def built(shop, number="J-1", verdict="keep", key="", **columns):
    job = shop.job(number, stage="stripped", **columns)
    shop.looked_at(job, verdict)
    return close(shop, job, key)


def close(shop, job, key=""):
    shop.pick(job, key=f"pick {job}{key}")
    close_job(job=job, decisions=[], by=shop.clerk, at=AT, key=f"close {job}{key}", why="balls came from the bench")
    job.refresh_from_db()
    return job


def passes(shop, job, key="test", readings=GOOD, **said):
    said = {"gauge": shop.gauge.pk, "tested_with": "water", **said}
    return record_test(job=job, says="", by=shop.clerk, at=AT, key=key, sheet=TestSaid(readings, **said))


def fail(shop, job, key="fail", again=AGAIN, readings=None, says="end 1 weeps"):
    sheet = TestSaid({**GOOD, "fall": "30"} if readings is None else readings, gauge=shop.gauge.pk, says=says)
    return record_failed_test(job=job, sheet=sheet, again=again, by=shop.clerk, at=AT, key=key)


def test_readings_within_the_limits_take_a_pump_to_tested_and_are_kept_with_the_limits_of_that_day(shop):
    job = built(shop)
    step = passes(shop, job)
    job.refresh_from_db()
    assert (job.stage, step.says) == ("tested", "4 readings within the limits")
    kept = PumpTest.objects.get()
    assert (kept.passed, kept.strip, kept.gauge, kept.gauge_due_on, kept.step) == (True, 1, shop.gauge, AS_OF, step)
    PumpLimit.objects.update(at_least=None, at_most=0)
    assert [(one.check_of, one.value, one.at_least, one.at_most, one.within) for one in kept.readings.all()] == [
        ("stall", 620, 600, 650, True), ("held", 10, 10, None, True), ("fall", 3, None, 5, True),
        ("leak_out", 0, None, 0, True),
    ]  # fmt: skip
    assert passes(shop, job) == step
    assert PumpTest.objects.count() == 1


@pytest.mark.parametrize(
    ("typed", "bar"),
    # 1 psi = 6894.757 Pa (NIST SP 811, appendix B.8), so 9000 psi = 620.528 bar
    [("620,5", "620.5"), ("62 MPa", "620"), ("9000 PSI", "620.528156"), ("61500 kPa", "615")],
)
def test_a_reading_in_another_unit_is_told_in_that_of_the_limit(shop, typed, bar):
    job = built(shop)
    passes(shop, job, readings={**GOOD, "stall": typed})
    reading = PumpTest.objects.get().readings.get(check_of="stall")
    assert (reading.typed, reading.unit, reading.value) == (typed, "bar", Decimal(bar))


@pytest.mark.parametrize(
    ("reading", "says"),
    [
        ({"stall": "high"}, "“high” is no reading of pressure at stall: write a number such as 12.5, in bar"),
        ({"stall": "1,234"}, "“1,234” is no reading"),
        ({"stall": "620 mL"}, "“mL” is no unit for pressure at stall: write one of bar, psi, MPa, kPa"),
        ({"leak_out": "0.1 mL/min"}, "“0.1 mL/min” cannot be told in drops/min, in which the shop has its limit"),
        ({"stall": "0.0000001"}, "more exact or larger than any gauge"),
    ],
)
def test_a_reading_that_cannot_be_understood_is_refused_with_the_remedy(shop, reading, says):
    job = built(shop)
    with pytest.raises(ServiceRefusal, match=says.replace(".", r"\.")):
        passes(shop, job, readings={**GOOD, **reading})
    assert not PumpTest.objects.exists()


def test_a_test_with_a_reading_outside_its_limit_is_no_passed_test(shop):
    job = built(shop)
    with pytest.raises(PickRefusal, match="fall while held 30 bar, at most 5 bar"):
        passes(shop, job, readings={**GOOD, "fall": "30"})


def test_a_test_is_whole_only_with_every_reading(shop):
    job = built(shop)
    with pytest.raises(PickRefusal, match="minutes held, leak to the outside not read off yet"):
        passes(shop, job, readings={"stall": "620", "fall": "3"})


def test_a_sentence_is_no_test_where_the_shop_has_limits(shop):
    job = built(shop)
    with pytest.raises(PickRefusal, match="is not whole"):
        record_test(job=job, says="ran well", by=shop.clerk, at=AT, key="test")


def test_a_gauge_past_its_day_is_refused_and_on_its_last_day_serves(shop):
    job, old = built(shop), gauge(shop, "G-2", date(2026, 3, 1))
    with pytest.raises(ServiceRefusal, match="Gauge G-2 was calibrated to 1 Mar 2026 only: read the test off another"):
        passes(shop, job, gauge=old.pk)
    with pytest.raises(ServiceRefusal, match="No gauge is named"):
        passes(shop, job, gauge=None)
    assert passes(shop, job).after == "tested"


def test_a_gauge_calibrated_anew_keeps_its_past(shop):
    gauge(shop, "g-1", date(2027, 3, 1))
    assert (Gauge.objects.count(), Gauge.objects.get().due_on) == (1, date(2027, 3, 1))
    assert [one.due_on for one in Gauge.history.all()] == [date(2027, 3, 1), AS_OF]


def test_each_of_several_pumps_is_tested_and_the_last_one_takes_the_job_on(shop):
    job = built(shop, quantity=2, scope="valve")
    assert passes(shop, job, key="first", pump_number=1) is None
    assert passes(shop, job, key="first again", pump_number=1) is None
    job.refresh_from_db()
    assert job.stage == "built"
    with pytest.raises(PickRefusal, match="J-1 is for 2 pumps: there is no pump 3 of it"):
        passes(shop, job, key="third", pump_number=3)
    assert passes(shop, job, key="second", pump_number=2).after == "tested"


def test_pumps_are_tested_anew_once_the_job_was_opened_again(shop):
    job = built(shop, quantity=2, scope="valve")
    passes(shop, job, key="first", pump_number=1)
    take_step_back(job=job, seen="built", why="a nut was left", by=shop.clerk, at=AT, key="back")
    job.refresh_from_db()
    close_job(job=job, decisions=[], by=shop.clerk, at=AT.replace(hour=23), key="close again", why="as before")
    job.refresh_from_db()
    said = TestSaid(GOOD, gauge=shop.gauge.pk, pump_number=2)
    assert record_test(job=job, says="", by=shop.clerk, at=AT.replace(hour=23), key="2", sheet=said) is None


def test_a_failed_test_opens_a_second_strip_and_what_was_used_stays_used(shop):
    job = built(shop, verdict="renew")
    Finding.objects.create(job=job, finding="metal in the oil")
    used = {row.lot: row.quantity.text for row in lots_used([job])}
    step = fail(shop, job)
    job.refresh_from_db()
    assert (step.before, step.after, step.says) == ("built", "stripped", "test not passed: end 1 weeps")
    assert (job.stage, job.scope, job.build_on) == ("stripped", "one", date(2026, 3, 20))
    assert {row.lot: row.quantity.text for row in lots_used([job])} == used
    assert held("NUT", job=job) == 0
    strip = PastStrip.objects.get()
    assert (strip.number, strip.scope, strip.test.passed) == (1, "both", False)
    assert [(one.where, one.verdict) for one in strip.verdicts.all()] == [
        ("pump 1 / END 1 / ball", "renew"), ("pump 1 / END 2 / ball", "renew"),
    ]  # fmt: skip
    assert not Verdict.objects.filter(job=job).exists()
    assert (PastFinding.objects.get().finding, Finding.objects.count()) == ("metal in the oil", 0)
    assert Verdict.history.filter(history_change_reason__contains="opened again").count() == 2
    assert fail(shop, job) == step
    assert PastStrip.objects.count() == 1
    assert ledger_differences() == []


def test_what_is_opened_again_is_asked_for_picked_and_used_anew(shop):
    """By hand: both ends took 2 kits, 4 nuts and 2 shank rings; one end opened again takes 1, 2 and 1 more."""
    job = built(shop)
    fail(shop, job)
    job.refresh_from_db()
    assert shop.asked(job) == {"K-END": 1, "NUT": 2, "OR-210-N70": 1}
    shop.looked_at(job, "keep")
    close(shop, job, " again")
    assert {row.lot: row.quantity.text for row in lots_used([job])} == {"K-1": "3", "H-1": "6", "N-70": "3"}
    assert passes(shop, job, key="second test").after == "tested"
    assert [(test.strip, test.passed) for test in PumpTest.objects.all()] == [(2, True), (1, False)]
    assert ledger_differences() == []


def test_opening_the_second_strip_again_gives_back_only_what_it_used(shop):
    job = built(shop)
    fail(shop, job)
    job.refresh_from_db()
    shop.looked_at(job, "keep")
    close(shop, job, " again")
    take_step_back(job=job, seen="built", why="a nut was left", by=shop.clerk, at=AT, key="back")
    assert (held("NUT", job=job), held("K-END", job=job)) == (2, 1)


def test_the_first_strip_teaches_rates_and_later_ones_do_not(shop):
    """Five pumps with one verdict of two worn: the second strip of one of them, all good, changes nothing."""
    jobs = [built(shop, f"J-{number}", "renew", scope="one") for number in range(1, 6)]

    def rate():
        plan = plan_now()
        demand = gather_demand(plan.demand.structure, plan.shop)
        line = next(n for n, one in enumerate(demand.structure.lines) if one.at_rebuild == "inspect")
        return demand.rates.pumps[line], demand.rates.chance(demand.structure, line)

    before = rate()
    assert before == (5, Fraction(1))
    fail(shop, jobs[0])
    jobs[0].refresh_from_db()
    shop.looked_at(jobs[0], "keep")
    assert rate() == before


def test_an_earlier_strip_is_no_job_on_the_schedule(shop):
    job = built(shop)
    fail(shop, job)
    assert [row.job for row in quiet_jobs(plan_now())] == []


@pytest.mark.parametrize("stage", ["building", "tested", "shipped"])
def test_only_a_built_pump_fails_its_test(shop, stage):
    with pytest.raises(ScheduleRefusal, match=f"J-1 is {stage} by now"):
        fail(shop, shop.job("J-1", stage=stage))
    assert not PumpTest.objects.exists()


def test_a_failed_test_says_why_and_to_which_scope_the_pump_is_opened_again(shop):
    job = built(shop)
    with pytest.raises(PickRefusal, match="Nothing says why J-1 has not passed"):
        fail(shop, job, says=" ")
    with pytest.raises(ScheduleRefusal, match="PUMP has no scope “paint” for J-1; known for it: both, one, valve"):
        fail(shop, job, again=OpenedAgain("paint", 1, AS_OF))
    with pytest.raises(PickRefusal, match="J-1 is for 1 pumps: open 1 to 1"):
        fail(shop, job, again=OpenedAgain("one", 2, AS_OF))
    assert JobStep.objects.filter(after="stripped").count() == 0


def test_a_test_that_was_broken_off_is_kept_with_what_was_read(shop):
    job = built(shop)
    fail(shop, job, readings={"stall": "400"}, says="stalls at 400 bar, broken off")
    assert [(one.check_of, one.within) for one in PumpTest.objects.get().readings.all()] == [("stall", False)]


def test_limits_are_changed_with_a_reason_and_keep_their_past(shop):
    pump = shop.items["PUMP"]
    with pytest.raises(ServiceRefusal, match="The limits of PUMP are not changed without a reason"):
        set_limits(pump=pump, limits={}, why=" ", by=shop.clerk, at=AT)
    limits = {
        "stall": LimitSaid(Decimal(600), Decimal(640), "Bar"),
        "cycles": LimitSaid(Decimal(20), None, "cycles/min"),
    }
    assert set_limits(pump=pump, limits=limits, why="new gauge", by=shop.clerk, at=AT) == 5
    assert [(one.check_of, one.at_most, one.unit) for one in PumpLimit.objects.all()] == [
        ("stall", 640, "bar"), ("cycles", None, "cycles/min"),
    ]  # fmt: skip
    assert PumpLimit.history.filter(check_of="fall").first().history_type == "-"


@pytest.mark.parametrize(
    ("limit", "says"),
    [
        (LimitSaid(None, None, "bar"), "A limit says what a reading is at least, at most, or both"),
        (LimitSaid(Decimal(2), Decimal(1), "bar"), "The most that a reading may be is not below the least"),
        (LimitSaid(Decimal(2), None, "mL"), "“mL” is no unit for pressure at stall"),
    ],
)
def test_a_limit_that_says_nothing_sound_is_refused(shop, limit, says):
    with pytest.raises(ServiceRefusal, match=says):
        set_limits(pump=shop.items["PUMP"], limits={"stall": limit}, why="so", by=shop.clerk, at=AT)
    assert PumpLimit.objects.count() == 4
