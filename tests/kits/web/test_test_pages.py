"""The test sheet on the tablet: readings against limits, a gauge past its day, and a pump that has not passed."""

from datetime import date
from decimal import Decimal

import pytest

from kits.people.models import User
from kits.schedule.models import Job, Verdict
from kits.service.models import Gauge, PastStrip, PumpLimit, PumpTest
from kits.service.testing.actions import LimitSaid, set_gauge, set_limits
from tests.kits.exchange.books import AT
from tests.kits.persons import person_of
from tests.kits.web.hands import key_in, key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
PAGE = "/tests/J-9/"
GOOD = {"read-stall": "620", "read-fall": "3", "tested_with": "water", "outcome": "passed"}
LIMITS = {"stall": LimitSaid(Decimal(600), None, "bar", how="6 bar of air"), "fall": LimitSaid(None, Decimal(5), "bar")}


@pytest.fixture
def lead(small_shop, client):
    person = person_of("Service lead", "lead", first_name="Lee")
    Job.objects.filter(job="J-9").update(stage="built")
    set_limits(pump=Job.objects.get(job="J-9").pump, limits=LIMITS, why="ours", by=person, at=AT)
    for name, due in (("G-1", date(2026, 3, 4)), ("G-2", date(2026, 3, 3))):
        said = {"reads": "0 to 1000 bar", "calibrated_on": None, "certificate": "", "why": ""}
        set_gauge(gauge=name, due_on=due, by=person, at=AT, **said)
    client.force_login(person)
    return client


def gauge(name="G-1"):
    return Gauge.objects.get(gauge=name).pk


def test_the_sheet_says_what_is_read_off_and_how_nobody_is_hurt(lead):
    sheet = sheet_of(lead.get(PAGE))
    assert "The pump is built and waits for its test." in sheet
    assert "Pressure at stall at least 600 bar bar 6 bar of air" in sheet
    assert "Behind the shield, from the first stroke until the gauge reads zero again." in sheet
    assert "Never feel for a leak by hand, gloved or not." in sheet
    assert "The maker's instructions and your local rules come first." in sheet
    assert "G-2, 0 to 1000 bar, calibrated to 3 Mar 2026, past its day: not to be used" in sheet


def test_readings_within_their_limits_make_the_pump_tested(lead):
    answer = tap(lead, PAGE, {**GOOD, "gauge": gauge(), "read-stall": "9000 psi"}, follow=True)
    assert answer.status_code == 200
    sheet = sheet_of(answer)
    assert "Passed" in sheet
    assert "gauge G-1, calibrated to 4 Mar 2026 , with water" in sheet
    assert "620.528 bar read as 9000 psi at least 600 bar" in sheet
    assert Job.objects.get(job="J-9").stage == "tested"


def test_a_double_tap_is_one_test(lead):
    said = {"key": key_on(lead, PAGE), **GOOD, "gauge": gauge()}
    assert [lead.post(PAGE, said).status_code for _ in range(2)] == [302, 302]
    assert PumpTest.objects.count() == 1


def test_a_refusal_keeps_what_was_typed_and_opens_the_way_on(lead):
    answer = tap(lead, PAGE, {**GOOD, "read-fall": "30", "gauge": gauge(), "says": "weeps"})
    assert answer.status_code == 409
    page = answer.content.decode()
    assert 'value="30"' in page
    assert 'value="weeps"' in page
    assert '<details class="otherwise block" open>' in page
    assert "J-9 has not passed: fall while held 30 bar, at most 5 bar." in sheet_of(answer)
    assert (Job.objects.get(job="J-9").stage, PumpTest.objects.count()) == ("built", 0)


def test_a_gauge_past_its_day_is_refused(lead):
    answer = tap(lead, PAGE, {**GOOD, "gauge": gauge("G-2")})
    assert answer.status_code == 409
    assert "Gauge G-2 was calibrated to 3 Mar 2026 only" in sheet_of(answer)


def test_what_has_not_passed_is_stripped_once_more_and_the_sheets_say_so(lead):
    Verdict.objects.create(job=Job.objects.get(job="J-9"), where="x", item_id=Job.objects.get(job="J-9").pump_id,
                           verdict="keep")  # fmt: skip
    said = {**GOOD, "read-fall": "30", "gauge": gauge(), "outcome": "failed", "says": "end 1 weeps"}
    again = {"scope": "full", "build_on": "2026-03-20"}
    answer = tap(lead, PAGE, {**said, **again}, follow=True)
    sheet = sheet_of(answer)
    assert "It did not pass 1 time: this is strip 2." in sheet
    assert "Not passed" in sheet
    assert "end 1 weeps" in sheet
    job = Job.objects.get(job="J-9")
    assert (job.stage, job.build_on, job.verdicts.count()) == ("stripped", date(2026, 3, 20), 0)
    assert PastStrip.objects.get().verdicts.count() == 1
    assert "test not passed: end 1 weeps" in sheet_of(lead.get("/jobs/J-9/"))


def test_two_people_write_one_test(lead, client):
    other = type(client)()
    other.force_login(person_of("Planner", "pat"))
    mine, theirs = key_on(lead, PAGE), key_on(other, PAGE)
    assert other.post(PAGE, {"key": theirs, **GOOD, "gauge": gauge()}).status_code == 302
    answer = lead.post(PAGE, {"key": mine, **GOOD, "gauge": gauge()})
    assert answer.status_code == 409
    assert "This has changed since the page was opened" in sheet_of(answer)
    assert PumpTest.objects.count() == 1


def test_a_clerk_reads_the_sheet_and_writes_nothing(lead):
    lead.force_login(person_of("Storeroom clerk"))
    assert "has passed its test" not in sheet_of(lead.get(PAGE))
    assert lead.post(PAGE, {"outcome": "passed"}).status_code == 403


def test_limits_are_entered_by_the_lead_row_by_row_with_their_reason(lead):
    page = "/test-limits/P-1/"
    typed = {"at_least-stall": "580", "unit-stall": "bar", "at_most-cycles": "40", "unit-cycles": "cycles/min"}
    answer = tap(lead, page, typed)
    assert answer.status_code == 422
    assert "Write why" in sheet_of(answer)
    assert 'value="580"' in answer.content.decode()
    assert lead.post(page, {"key": key_in(answer), **typed, "why": "new air line"}).status_code == 302
    assert [(one.check_of, one.at_least, one.at_most, one.unit) for one in PumpLimit.objects.all()] == [
        ("stall", 580, None, "bar"), ("cycles", None, 40, "cycles/min"),
    ]  # fmt: skip
    assert PumpLimit.history.filter(check_of="stall").first().history_change_reason == "new air line"


def test_limits_that_somebody_changed_meanwhile_are_not_overwritten(lead):
    page, typed = "/test-limits/P-1/", {"at_least-stall": "580", "unit-stall": "bar", "why": "mine"}
    mine = key_on(lead, page)
    set_limits(pump=Job.objects.get(job="J-9").pump, limits={}, why="theirs", by=User.objects.first(), at=AT)
    answer = lead.post(page, {"key": mine, **typed})
    assert (answer.status_code, PumpLimit.objects.count()) == (422, 0)
    assert "This has changed since the page was opened" in sheet_of(answer)


def test_a_limit_whose_most_lies_below_its_least_is_refused_in_a_sentence(lead):
    answer = tap(lead, "/test-limits/P-1/", {"at_least-stall": "5", "at_most-stall": "4", "why": "slip"})
    assert "The most that a reading may be is not below the least." in sheet_of(answer)


def test_gauges_are_entered_and_calibrated_anew_and_go_out_as_a_list(lead):
    typed = {"gauge": "g-2", "reads": "0 to 1000 bar", "due_on": "2027-03-03", "why": "calibrated"}
    assert "1 of them past the day" in sheet_of(lead.get("/gauges/"))
    assert tap(lead, "/gauges/", typed).status_code == 302
    assert Gauge.objects.get(folded="g-2").due_on == date(2027, 3, 3)
    assert "2 gauges." in sheet_of(lead.get("/gauges/"))
    assert b"G-1,0 to 1000 bar,,2026-03-04" in lead.get("/gauges/?export=csv").content
    odd = {**typed, "calibrated_on": "2028-01-01"}
    assert "A calibration ends not before it was made." in sheet_of(tap(lead, "/gauges/", odd))


@pytest.mark.parametrize("role", ["Planner", "Storeroom clerk", "Purchasing"])
def test_nobody_else_enters_limits_or_gauges(lead, role):
    lead.force_login(person_of(role))
    for page in ("/test-limits/P-1/", "/gauges/"):
        assert lead.get(page).status_code == 200
        assert lead.post(page, {"why": "x"}).status_code == 403
