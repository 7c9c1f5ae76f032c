"""The pages on which a job ends: its parts closed, the pump tested and shipped, each step taken back."""

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import Item
from kits.people.models import User
from kits.people.roles import ADMINISTRATOR, PLANNER, ROLES, SERVICE_LEAD
from kits.schedule.models import Job, JobStep, Verdict
from kits.stock.ledger import Entry, OnShelf, WithJob, post
from kits.stock.models import Concession, Lot, Place
from kits.stock.suspects.actions import freeze_lot
from kits.web.request_keys import new_key
from tests.kits.exchange.books import AT
from tests.kits.kept_rows import step_once
from tests.kits.persons import person_of
from tests.kits.web.hands import key_in, key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
MAY_STEP = {PLANNER.name, SERVICE_LEAD.name, ADMINISTRATOR.name}
CLOSE = "/picking/jobs/J-1/close/"
BALLS = [f"pump 1 / E-1 {end} / CK-1 {check} / ball" for end in (1, 2) for check in (1, 2)]


@pytest.fixture
def sign_in(small_shop, client):
    def sign_in(role):
        name = role.split()[-1].lower()
        client.force_login(User.objects.filter(username=name).first() or person_of(role, name))
        return client

    return sign_in


@pytest.fixture
def clerk(sign_in):
    return sign_in("Storeroom clerk")


@pytest.fixture
def full_bag(small_shop):
    return step_once("full bag of test_closing_pages", fill_bag)


def fill_bag():
    """Job J-1 is being built: two kits, two rings and all of the cord lie in its bag, its four balls were kept."""
    with transaction.atomic():
        mark_shop()
        job = Job.objects.get(job="J-1")
        Job.objects.filter(pk=job.pk).update(stage="building")
        ball = Item.objects.get(part_number="BA-1")
        Verdict.objects.bulk_create([Verdict(job=job, where=where, item=ball, verdict="keep") for where in BALLS])
        cord = Lot.objects.get(lot="C-2")
        place = Place.objects.get(place="A1").pk
        post(entries=[Entry(OnShelf(cord.pk, place), 200 * ONE)], kind="receive", by=None, at=AT, key="more cord")
        for lot, quantity in ((Lot.objects.get(lot="KIT-9"), 2), (Lot.objects.get(lot="L-1"), 2), (cord, 620)):
            entries = [
                Entry(OnShelf(lot.pk, place), -quantity * ONE),
                Entry(WithJob(lot.pk, job.pk, "issued"), quantity * ONE),
            ]
            post(entries=entries, kind="pick", by=None, at=AT, key=f"bag {lot.pk}", job=job)
    return job


def close(client, **said):
    """Look at the sheet that closes the job, and close it."""
    sheet = client.get(CLOSE).context["sheet"]
    return client.post(CLOSE, {"key": new_key("close", sheet.job.pk, sheet.shows), **said})


def step(client, what, seen, **said):
    key = new_key(what, Job.objects.get(job="J-1").pk, seen)
    return client.post(f"/steps/{what}/J-1/", {"key": key, "seen": seen, **said})


def write_test(client, **said):
    """Write a test down in a sentence; whoever may not finds no form."""
    page = client.get("/tests/J-1/")
    key = key_in(page) if 'name="key"' in page.content.decode() else "none"
    return client.post("/tests/J-1/", {"key": key, "outcome": "passed", **said})


def test_closing_decides_what_is_left_in_the_bag_and_makes_the_job_built(sign_in, full_bag):
    planner = sign_in("Planner")
    sheet = sheet_of(planner.get(CLOSE))
    assert "3 lots went into the bag of this job." in sheet
    assert "Still open" not in sheet
    rings = Lot.objects.get(lot="L-1")
    said = {f"left_{rings.pk}": "1", f"goes_{rings.pk}": "back", f"place_{rings.pk}": Place.objects.get(place="A1").pk}
    answer = close(planner, why="one of the old rings is good", **said)
    assert answer.status_code == 302
    sheet = sheet_of(planner.get(answer.url))
    assert "Closed by planner on" in sheet
    assert "Closed although its bag lacks 1 of OR-014, because: one of the old rings is good." in sheet
    assert "OR-014 O-ring 014 L-1 1 31 Dec 2039" in sheet
    assert "What was left over Part Lot Quantity Where it went Why OR-014 L-1 1 back to its lot" in sheet
    assert Job.objects.get(job="J-1").stage == "built"


def test_each_open_point_says_where_it_is_done(clerk):
    tap(clerk, "/picking/start/", {"job": "J-1"}, on="/picking/")
    answer = clerk.get(CLOSE)
    page, sheet = answer.content.decode(), sheet_of(answer)
    assert "J-1 cannot be closed yet." in sheet
    for says, link in (
        ("Nobody has said that the pump was stripped: it is expected. Say where it is", "/jobs/J-1/#stage"),
        ("still to be picked. Book them on round", "/picking/1/"),
        (
            "Its bag lacks 620 mm of CO-1, 2 of K-1 and 2 of OR-014. See where they come from or pick them",
            "/jobs/J-1/#parts",
        ),
        ("4 positions have no verdict: pump 1 / E-1 1 / CK-1 1 / ball, pump 1", "/jobs/J-1/#seen"),
    ):
        assert says in sheet, sheet
        assert f'href="{link}"' in page or link == "/picking/1/"
    assert "The rest was used up" not in sheet
    assert "A planner or the service lead can close it all the same, with the reason." in sheet


def test_a_clerk_closes_nothing_that_is_open_whatever_is_sent(clerk):
    answer = close(clerk, why="I say so")
    assert answer.status_code == 409
    assert "J-1 cannot be closed yet: nobody has said that the pump was stripped" in sheet_of(answer)
    assert Job.objects.get(job="J-1").stage == "expected"


def test_a_planner_closes_what_is_open_with_a_reason_that_the_job_shows(sign_in):
    planner = sign_in("Planner")
    assert close(planner).status_code == 409
    assert close(planner, why="built elsewhere, parts of the customer").status_code == 302
    sheet = sheet_of(planner.get("/jobs/J-1/"))
    assert "expected built built elsewhere, parts of the customer although nobody has said" in sheet


def test_a_closing_that_is_refused_keeps_what_was_typed(clerk, full_bag):
    rings = Lot.objects.get(lot="L-1")
    answer = close(clerk, **{f"left_{rings.pk}": "9", f"goes_{rings.pk}": "scrap", f"why_{rings.pk}": "cut"})
    assert answer.status_code == 409
    assert "The bag of J-1 holds 2 of OR-014, lot L-1: 9 cannot be left over." in sheet_of(answer)
    assert 'value="9"' in answer.content.decode()
    assert not JobStep.objects.exists()


def test_what_is_left_over_although_the_pump_needs_it_is_refused(clerk, full_bag):
    rings = Lot.objects.get(lot="L-1")
    answer = close(clerk, **{f"left_{rings.pk}": "2", f"goes_{rings.pk}": "scrap", f"why_{rings.pk}": "cut"})
    assert answer.status_code == 409
    assert "its bag lacks 2 of OR-014" in sheet_of(answer)


def test_closing_twice_with_one_tap_is_one_closing(clerk, full_bag):
    key = key_on(clerk, CLOSE)
    assert [clerk.post(CLOSE, {"key": key}).status_code for _ in range(2)] == [302, 302]
    assert JobStep.objects.count() == 1
    assert close(clerk).status_code == 409, "another request finds it built"


def test_the_job_shows_what_was_given_to_it_and_then_what_went_into_the_pump(clerk, full_bag):
    answer = clerk.get("/jobs/J-1/")
    assert f'href="{CLOSE}"' in answer.content.decode()
    sheet = sheet_of(answer)
    assert "Maker's batch, certificate CO-1 cord C-2 620 mm 31 Mar 2040 K-1 end seal kit" in sheet
    assert "What went into the pump" not in sheet
    close(clerk)
    sheet = sheet_of(clerk.get("/jobs/J-1/"))
    assert "Given to this job" not in sheet
    assert "This job is built and asks for no parts." in sheet
    assert "Lots used up when its parts were closed, serial S-77. How it was closed Part Lot" in sheet
    assert "OR-014 O-ring 014 L-1 2 31 Dec 2039" in sheet


def test_a_pump_is_tested_and_shipped_on_the_page_of_its_job(sign_in, full_bag):
    lead = sign_in("Service lead")
    close(lead)
    assert "Write down its test" in sheet_of(lead.get("/jobs/J-1/"))
    assert write_test(lead, says="").status_code == 409
    assert write_test(lead, says="1000 bar for 10 minutes, no drop").status_code == 302
    sheet = sheet_of(lead.get("/jobs/J-1/"))
    assert "built tested 1000 bar for 10 minutes, no drop" in sheet
    assert "J-1 has left the shop" in sheet
    assert step(lead, "ship", "tested", says="with the Thursday van").status_code == 302
    assert "The pump is shipped." in sheet_of(lead.get("/jobs/J-1/"))
    assert [one.by.username for one in JobStep.objects.all()] == ["lead"] * 3


def test_a_step_that_is_refused_keeps_what_was_typed(sign_in, full_bag):
    lead = sign_in("Service lead")
    answer = step(lead, "back", "built", says="it leaks")
    assert answer.status_code == 409
    assert "J-1 is building by now: only a job that is built becomes building." in sheet_of(answer)
    close(lead)
    answer = step(lead, "ship", "built", says="with the Thursday van")
    assert (answer.status_code, Job.objects.get(job="J-1").stage) == (409, "built")
    long = step(lead, "back", "built", says="x" * 501)
    assert (long.status_code, "x" * 501 in long.content.decode()) == (422, True)


def test_a_job_is_opened_again_with_a_reason(sign_in, full_bag):
    lead = sign_in("Service lead")
    close(lead)
    assert "Open the job again" in sheet_of(lead.get("/jobs/J-1/"))
    assert step(lead, "back", "built", says="").status_code == 409
    assert step(lead, "back", "built", says="the gland leaks").status_code == 302
    sheet = sheet_of(lead.get("/jobs/J-1/"))
    assert "built building the gland leaks" in sheet
    assert "Given to this job" in sheet


def test_where_a_pump_is_that_is_to_be_built_is_said_on_the_page_of_its_job(sign_in):
    planner = sign_in("Planner")
    assert step(planner, "move", "expected", stage="stripped").status_code == 302
    assert Job.objects.get(job="J-1").stage == "stripped"
    assert step(planner, "move", "stripped", stage="tested").status_code == 422
    assert Job.objects.get(job="J-1").stage == "stripped"


@pytest.mark.parametrize("role", [role.name for role in ROLES])
def test_who_may_say_how_far_a_pump_has_come(sign_in, full_bag, role):
    client = sign_in(role)
    Job.objects.filter(job="J-1").update(stage="built")
    allowed = role in MAY_STEP
    assert ("Write down its test" in sheet_of(client.get("/jobs/J-1/"))) is allowed
    assert write_test(client, says="10 minutes").status_code == (302 if allowed else 403)
    assert Job.objects.get(job="J-1").stage == ("tested" if allowed else "built")
    assert step(client, "back", "tested", says="wrong pump").status_code == (302 if allowed else 403)


def test_an_unknown_step_or_job_is_a_page_of_its_own(sign_in):
    planner = sign_in("Planner")
    assert step(planner, "paint", "expected").status_code == 404
    assert planner.post("/steps/ship/NO-SUCH/", {"key": "x"}).status_code == 404


@pytest.fixture
def suspicion(full_bag):
    lot = Lot.objects.get(lot="L-1")
    return freeze_lot(lot=lot, reason="wrong compound", by=User.objects.create(username="x"), at=AT, key="freeze")


def concede(client, suspicion, **said):
    key = new_key("concede", Job.objects.get(job="J-1").pk, suspicion.pk)
    return client.post("/concede/J-1/", {"key": key, "suspicion": suspicion.pk, **said})


def test_a_suspect_lot_in_a_bag_stands_on_the_sheets_of_its_job_and_keeps_it_open(sign_in, suspicion):
    planner = sign_in("Planner")
    sheet = sheet_of(planner.get("/jobs/J-1/"))
    assert "Lot L-1 of OR-014 is under suspicion since" in sheet, sheet[:1500]
    assert ": wrong compound The pump cannot be closed" in sheet
    assert "The pump cannot be closed, tested or shipped with it until the service lead decides." in sheet
    assert "OR-014 O-ring 014 L-1 under suspicion 2" in sheet
    sheet = sheet_of(planner.get(CLOSE))
    assert "Lot L-1 of OR-014 is under suspicion (wrong compound), and the service lead has not decided" in sheet
    assert "under suspicion 2" in sheet
    answer = close(planner, why="the planner says so")
    assert (answer.status_code, Job.objects.get(job="J-1").stage) == (409, "building")


def test_the_lead_decides_with_a_reason_and_the_histories_tell(sign_in, suspicion):
    lead = sign_in("Service lead")
    answer = concede(lead, suspicion, reason="")
    assert answer.status_code == 422
    assert concede(lead, suspicion, reason="measured, and it is NBR").status_code == 302
    for page in ("/jobs/J-1/", f"/storeroom/suspects/{suspicion.lot_id}/"):
        assert "measured, and it is NBR" in sheet_of(lead.get(page)), page
    assert "under suspicion, may be used here" in sheet_of(lead.get(CLOSE))
    assert close(lead).status_code == 302
    concession = Concession.objects.get()
    back = {"key": new_key("take back", concession.pk), "reason": "measured the wrong ring"}
    assert lead.post(f"/concessions/{concession.pk}/take-back/", back).status_code == 302
    assert write_test(lead, says="10 minutes").status_code == 409
    for page in ("/jobs/J-1/", f"/storeroom/suspects/{suspicion.lot_id}/"):
        assert "measured the wrong ring" in sheet_of(lead.get(page)), page


@pytest.mark.parametrize("role", [role.name for role in ROLES])
def test_nobody_but_the_lead_decides_on_a_suspect_lot(sign_in, suspicion, role):
    client = sign_in(role)
    allowed = role in (SERVICE_LEAD.name, ADMINISTRATOR.name)
    assert ("Let J-1 have it" in sheet_of(client.get("/jobs/J-1/"))) is allowed
    assert concede(client, suspicion, reason="fine").status_code == (302 if allowed else 403)
    assert Concession.objects.exists() is allowed


def test_a_decision_on_an_unknown_suspicion_goes_nowhere(sign_in, full_bag):
    lead = sign_in("Service lead")
    said = {"key": new_key("concede", full_bag.pk, 99), "suspicion": 99, "reason": "fine"}
    assert lead.post("/concede/J-1/", said).status_code == 404
    assert lead.post("/concessions/99/take-back/", said).status_code == 404
