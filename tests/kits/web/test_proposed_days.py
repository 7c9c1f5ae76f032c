"""Build days proposed: shown with what comes of them, accepted row by row, stored and taken back in one step."""

import threading
from datetime import date, timedelta
from functools import partial
from time import monotonic

import pytest
from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import Setting
from kits.exchange.models import Upload
from kits.exchange.undo.actions import undo_upload
from kits.people.models import User
from kits.planning import queries
from kits.planning.desk import proposed_days
from kits.planning.keeping import begun
from kits.planning.keeping import plans as keeping
from kits.schedule.models import Job
from kits.web.views import long_work
from tests.kits.exchange.books import AT, load_sheets
from tests.kits.planning.shared_cache import process_with
from tests.kits.web.hands import key_in
from tests.kits.web.shops import sheet_of, text_of

pytestmark = pytest.mark.django_db
PAGE, TAKE = "/proposed-days/", "/proposed-days/take/"


@pytest.fixture(autouse=True)
def plans_kept():
    """What is kept, and for how long, these tests say themselves."""


@pytest.fixture
def one_kit_short(small_shop):
    """Two kits lie there, each job takes two; three pumps are built on the 16th, and the benches build one a day."""
    load_sheets(
        {
            "Offers": [
                ["supplier", "part_number", "pack_size", "lead_time", "price_per_pack"],
                ["Ring House", "K-1", 1, 12, 30],
            ],
            "Schedule": [
                ["job", "pump", "scope", "build_date", "batch", "priority", "stage"],
                ["J-3", "P-1", "full", date(2026, 3, 16), "rush", 1, "here"],
                ["J-4", "P-1", "full", date(2026, 3, 16), "rush", 9, "here"],
            ],
        }
    )
    Setting.objects.create(name="pumps_a_day", value="1")


def days():
    return dict(Job.objects.exclude(job="J-9").values_list("job", "build_on"))


def moves(client, batch=""):
    return client.get(PAGE, {"batch": batch} if batch else {}).context["sheet"].rows


def ticked(rows):
    return [f"{row.proposed_on:%Y-%m-%d} {row.job}" for row in rows]


def keep(client, rows, **more):
    seen = client.post(TAKE, {"move": ticked(rows)})
    return client.post(TAKE, {"move": ticked(rows), "store": "1", "key": key_in(seen, TAKE), **more}, follow=True)


def test_moves_are_shown_with_what_comes_of_both_days_to_everybody(one_kit_short, clerk):
    shown = clerk.get(PAGE)
    rows = shown.context["sheet"].rows
    assert rows
    assert "With the days typed" in sheet_of(shown)
    assert 'name="move"' not in shown.content.decode()


def test_a_batch_shows_its_own_moves_and_counts_the_others(one_kit_short, reader):
    all_rows = moves(reader)
    shown = reader.get(PAGE, {"batch": "rush"}).context["sheet"]
    assert {row.batch for row in shown.rows} <= {"rush"}
    assert len(shown.rows) + shown.elsewhere == len(all_rows)


def test_accepted_rows_are_tried_first_then_stored_and_taken_back_as_one_step(one_kit_short, keeper):
    before, rows = days(), moves(keeper)
    seen = keeper.post(TAKE, {"move": ticked(rows[:1])})
    said = sheet_of(seen)
    assert "Nothing is stored yet" in said
    assert "Against the days typed, 1 of 4 jobs can be built on the day now" in said
    assert days() == before
    done = keep(keeper, rows[:1])
    assert "Take it back in one step" in text_of(done)
    assert days() == {**before, rows[0].job: rows[0].proposed_on}
    undo_upload(upload=Upload.objects.latest("pk"), by=User.objects.get(username="keeper"), at=AT)
    assert days() == before


def test_nothing_is_stored_twice_or_when_the_job_was_moved_meanwhile(one_kit_short, keeper):
    rows = moves(keeper)[:1]
    seen = keeper.post(TAKE, {"move": ticked(rows)})
    said = {"move": ticked(rows), "store": "1", "key": key_in(seen, TAKE)}
    Job.objects.filter(job=rows[0].job).update(priority=7)
    with transaction.atomic():
        mark_shop()
    refused = keeper.post(TAKE, said)
    assert refused.status_code == 409
    assert "has changed since" in text_of(refused)
    assert days()[rows[0].job] == rows[0].build_on


@pytest.mark.parametrize("move", [[], ["soon J-1"], ["2026-03-20 J-77"]])
def test_odd_rows_move_nothing_and_say_why(one_kit_short, keeper, move):
    before = days()
    answer = keeper.post(TAKE, {"move": move}, follow=True)
    assert any(words in text_of(answer) for words in ("No row is ticked", "does not read as a day"))
    assert days() == before


def test_all_moves_are_tried_in_one_go_and_taken_away_as_a_file(one_kit_short, keeper):
    rows = moves(keeper)
    seen = keeper.post(TAKE, {"all": "1"})
    assert [job.job for job, _ in seen.context["moves"]] == sorted(row.job for row in rows)
    file = keeper.get(PAGE, {"export": "csv"}).content.decode("utf-8-sig").splitlines()
    assert len(file) == 1 + len(rows)


def test_who_may_not_load_the_schedule_moves_nothing(one_kit_short, clerk):
    assert clerk.post(TAKE, {"move": ticked(moves(clerk))}).status_code == 403


def test_pumps_a_day_is_a_whole_number_or_nothing(small_shop, reader):
    Setting.objects.create(name="pumps_a_day", value="some")
    assert "Setting pumps_a_day is “some”" in text_of(reader.get(PAGE))


def test_schedule_and_batch_lead_to_the_proposal(small_shop, reader):
    assert 'href="/proposed-days/"' in reader.get("/schedule/").content.decode()
    assert 'href="/proposed-days/?batch=spring"' in reader.get("/batches/spring/").content.decode()


@pytest.fixture
def slow(one_kit_short, monkeypatch):
    """The solver takes as long as the test wants; everybody who asks meets the same answer."""
    monkeypatch.setattr(keeping, "PATIENCE_SECONDS", 0.05)
    monkeypatch.setattr(long_work, "WHOLE_SECONDS", 0.05)
    monkeypatch.setattr(keeping, "may_keep_under", lambda *marks: True)
    monkeypatch.setattr(keeping, "_must_be_waited_for", lambda: False)
    monkeypatch.setattr(queries, "_plans", process_with(None))
    go, choose = threading.Event(), proposed_days.propose_days

    def wait_and_choose(*facts, tell, **more):
        tell("Choosing days, 8 seconds at most")
        assert go.wait(20)
        return choose(*facts, **more)

    monkeypatch.setattr(proposed_days, "propose_days", wait_and_choose)
    yield go
    go.set()
    settle()


def settle():
    for thread in threading.enumerate():
        if thread.name == "work out days":
            thread.join(20)


def test_while_days_are_chosen_the_page_says_how_far_it_is_and_may_be_left(slow, reader):
    shown = reader.get(PAGE, {"batch": "rush"})
    assert "Days are being chosen" in sheet_of(shown)
    looks_again = partial(reader.get, PAGE, {"batch": "rush", "work": "1"}, headers={"HX-Request": "true"})
    assert 'hx-get="?batch=rush&amp;work=1"' in looks_again().content.decode()
    deadline = monotonic() + 60  # the thread tells of itself when a busy machine lets it
    while "Choosing days, 8 seconds at most" not in sheet_of(looks_again()):
        assert monotonic() < deadline, "it never says how far it is"
    assert reader.get(PAGE, {"export": "csv"})["Content-Type"].startswith("text/html")
    slow.set()
    settle()
    done = reader.get(PAGE, {"batch": "rush", "work": "1"}, headers={"HX-Request": "true"})
    assert done["HX-Refresh"] == "true"
    assert reader.get(PAGE, {"batch": "rush", "work": "1"}).url == f"{PAGE}?batch=rush"
    assert "With the days typed" in sheet_of(reader.get(PAGE, {"batch": "rush"}))


def test_days_chosen_while_others_post_are_shown_with_their_hour_and_chosen_anew_on_demand(slow, reader, keeper):
    reader.get(PAGE)
    with transaction.atomic():
        mark_shop()
    assert "Days are being chosen" in sheet_of(reader.get(PAGE)), "the same work, not another"
    slow.set()
    settle()
    rows = keeper.get(PAGE).context["sheet"].rows
    assert "something was booked or scheduled since" in sheet_of(reader.get(PAGE))
    assert len(keeper.post(TAKE, {"all": "1"}).context["moves"]) == len(rows)
    reader.get(PAGE, {"latest": "1"})
    settle()
    assert "since. Choose them anew" not in sheet_of(reader.get(PAGE))


def test_all_are_taken_only_of_what_is_worked_out(slow, keeper):
    answer = keeper.post(TAKE, {"all": "1"}, follow=True)
    assert "days are chosen anew" in text_of(answer)


def test_what_breaks_off_is_begun_anew_by_whoever_asks_next(slow, reader, monkeypatch, caplog):
    reader.raise_request_exception = False
    monkeypatch.setattr(keeping, "PATIENCE_SECONDS", 20)
    plain = proposed_days.propose_days
    monkeypatch.setattr(proposed_days, "propose_days", lambda *facts, **more: 1 / 0)
    assert reader.get(PAGE).status_code == 500
    assert "could not be worked out: days" in caplog.text
    monkeypatch.setattr(begun, "TOLD", timedelta(0))
    monkeypatch.setattr(proposed_days, "propose_days", plain)
    slow.set()
    assert "With the days typed" in sheet_of(reader.get(PAGE))


def test_what_breaks_off_while_nobody_waits_is_told_to_whoever_looks_next(slow, reader, monkeypatch):
    reader.raise_request_exception = False
    tries = []

    def fail(*facts, **more):
        tries.append(slow.wait(20))
        return 1 / 0

    monkeypatch.setattr(proposed_days, "propose_days", fail)
    assert "Days are being chosen" in sheet_of(reader.get(PAGE))
    slow.set()
    settle()
    assert reader.get(PAGE).status_code == 500
    assert tries == [True], "and is not begun once more before"
