"""Set aside and send: shown first, stored on a tap, seen by the storeroom, taken back; for planners and the lead."""

import re

import pytest
from django.test import Client

from kits.catalog.errors import Refusal
from kits.exchange.actions import keep_upload, load_upload
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.undo.actions import undo_upload
from kits.people.models import User
from kits.people.roles import ADMINISTRATOR, PLANNER, ROLES, SERVICE_LEAD
from kits.picking.models import SentJob
from kits.stock.models import Reservation
from tests.kits.exchange.books import AT
from tests.kits.persons import person_of
from tests.kits.web.hands import key_in, tap
from tests.kits.web.shops import sheet_of, text_of

pytestmark = pytest.mark.django_db
PAGE = "/picking/set-aside/"
MAY_SEND = {PLANNER.name, SERVICE_LEAD.name, ADMINISTRATOR.name}


def send(client, job="J-1"):
    return tap(client, PAGE, {"job": job, "store": "plan"}, on=f"{PAGE}?job={job}", follow=True)


def test_what_is_set_aside_is_shown_before_anything_is_stored(small_shop, keeper):
    seen = sheet_of(keeper.get(f"{PAGE}?job=J-1"))
    assert "No job loses by it" in seen
    assert "K-1 end seal kit 2 KIT-9 A1 what the plan gives it" in seen
    assert not Reservation.objects.exists()


def test_lists_that_are_cut_say_of_how_many(small_shop, keeper, monkeypatch):
    monkeypatch.setattr("kits.web.views.sending.MOST_ROWS", 1)
    seen = sheet_of(keeper.get(f"{PAGE}?batch=spring"))
    assert re.search(r"Not on the shelf The first 1 of \d+; each job by itself shows all of its own", seen)
    assert re.search(r"lines that are set aside The first 1 of \d+;", seen)


def test_what_it_takes_from_others_is_named(small_shop, keeper):
    """J-1 has both kits; J-2, sent with what the plan gives to others, takes them from it."""
    seen = sheet_of(keeper.post(PAGE, {"job": "J-2", "look": "all"}))
    assert "1 other job loses by it" in seen
    assert "the plan gives this lot to J-1" in seen


def test_sent_jobs_stand_on_the_front_of_picking_and_on_their_own_sheet(small_shop, keeper):
    done = send(keeper)
    assert "1 job sent to the storeroom: J-1" in text_of(done)
    for page in ("/picking/", "/jobs/J-1/"):
        seen = sheet_of(keeper.get(page))
        assert "keeper" in seen
        assert "Take J-1 back" in seen


def test_a_batch_is_sent_in_one_step_and_taken_back_in_one(small_shop, keeper):
    seen = keeper.get(f"{PAGE}?batch=spring")
    said = {"job": ["J-1", "J-2"], "store": "plan", "key": key_in(seen, PAGE)}
    keeper.post(PAGE, said)
    keeper.post(PAGE, said)
    assert SentJob.objects.count() == 2
    row = SentJob.objects.first()
    tap(keeper, f"/picking/sent/{row.pk}/take-back/", {"all": "1"}, on="/picking/")
    assert not Reservation.objects.exists()
    assert not SentJob.objects.filter(back_at__isnull=True).exists()


def test_a_page_that_was_overtaken_sends_nothing(small_shop, keeper):
    seen = keeper.get(f"{PAGE}?job=J-1")
    send(keeper)
    refused = keeper.post(PAGE, {"job": "J-1", "store": "plan", "key": key_in(seen, PAGE)})
    assert refused.status_code == 409
    assert SentJob.objects.count() == 1


@pytest.mark.parametrize("role", [role.name for role in ROLES])
def test_planners_and_the_lead_send_jobs_and_take_them_back(small_shop, keeper, role):
    send(keeper)
    row = SentJob.objects.get()
    client = Client()
    client.force_login(person_of(role))
    allowed = role in MAY_SEND
    assert client.get(f"{PAGE}?job=J-2").status_code == (200 if allowed else 403)
    assert client.post(f"/picking/sent/{row.pk}/take-back/", {}).status_code == (302 if allowed else 403)
    assert ("Set aside and send" in client.get("/jobs/J-2/").content.decode()) is allowed


def test_nobody_named_is_told_where_to_begin(small_shop, keeper):
    assert "Tick jobs in the list of jobs" in sheet_of(keeper.get(PAGE))


def test_an_upload_that_brought_a_job_which_was_sent_is_not_taken_back_and_says_why(small_shop, keeper):
    rows = "job,pump,scope,build_date\nJ-7,P-1,full,2026-03-18\n"
    by = User.objects.get(username="keeper")
    kept = keep_upload(files=[SheetFile("schedule.csv", rows.encode())], by=by, at=AT)
    load_upload(upload=kept, by=by, at=AT)
    send(keeper, "J-7")
    with pytest.raises(Refusal, match="J-7"):
        undo_upload(upload=kept, by=by, at=AT)
