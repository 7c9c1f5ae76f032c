"""What other programs write: by the same loader and the same actions as the pages, and once for each key."""

import threading

import pytest
from django.db import connection

from bom.values import ONE
from kits.catalog.models import LoggedRequest
from kits.exchange.models import Upload
from kits.schedule.models import Job
from kits.stock.models import Balance, Posting
from kits.stock.queries import ledger_differences
from tests.kits.api.conftest import Program
from tests.kits.persons import person_of
from tests.kits.web.shops import load_small

RUSH = {"rows": [{"job": "J-1", "priority": 2}]}


def job_row(program, **changed):
    row = next(row for row in program.get("/lists/Schedule").json()["rows"] if row["job"] == "J-1")
    return {"rows": [{**row, **changed}]}


def count_of(quantity, **facts):
    return {"does": "count", "part_number": "OR-014", "lot": "L-1", "place": "A1", "quantity": quantity, **facts}


def held():
    return Balance.objects.on_shelf().get(lot__lot="L-1", quantity__gt=0).quantity // ONE


@pytest.fixture
def planner(small_shop, program_of):
    return program_of("Planner")


@pytest.fixture
def clerk(small_shop, program_of):
    return program_of("Storeroom clerk")


@pytest.mark.django_db
class TestLists:
    def test_rows_are_checked_first_and_stored_when_it_is_said(self, planner):
        answer = planner.post("/lists/Schedule", job_row(planner, priority=2), key="check-first")
        said = answer.json()
        assert (answer.status_code, said["state"], said["lists"][0]["changed"]) == (201, "checked", 1)
        assert Job.objects.get(job="J-1").priority != 2
        for _ in range(2):  # sent again, it answers the same
            loaded = planner.post(f"/uploads/{said['upload']}/load", {})
            assert (loaded.status_code, loaded.json()["state"]) == (200, "loaded")
        assert Job.objects.get(job="J-1").priority == 2
        assert planner.post(f"/uploads/{said['upload']}/take-back", {}).json()["state"] == "undone"
        assert Job.objects.get(job="J-1").priority != 2

    def test_rows_are_stored_at_once_under_one_key_once(self, planner):
        sent = job_row(planner, priority=2)
        first = planner.post("/lists/Schedule?load=true", sent, key="at-once-1")
        again = planner.post("/lists/Schedule?load=true", sent, key="at-once-1")
        assert (first.status_code, first.json()) == (again.status_code, again.json())
        assert first.json()["state"] == "loaded"
        assert Upload.objects.count() == 1
        other = planner.post("/lists/Schedule?load=true", job_row(planner, priority=3), key="at-once-1")
        assert (other.status_code, "used already" in other.json()["detail"]) == (422, True)

    def test_what_is_wrong_is_told_with_its_place_and_nothing_is_stored(self, planner):
        sent = job_row(planner, build_date="31.31.2026", priority=77)
        answer = planner.post("/lists/Schedule?load=true", sent, key="all-wrong")
        said = answer.json()
        assert answer.status_code == 422
        assert {one["column"] for one in said["problems"]} == {"build_date", "priority"}
        assert all(one["remedy"] for one in said["problems"])
        assert "Nothing was stored." in said["detail"]
        assert Job.objects.get(job="J-1").priority == 5

    def test_rows_are_stored_only_if_the_list_is_as_it_was_read(self, planner):
        mark = planner.get("/lists/Schedule").headers["ETag"]
        sent = job_row(planner, priority=2)
        assert planner.post("/lists/Schedule?load=true", sent, key="match-01", If_Match=mark).status_code == 201
        late = planner.post("/lists/Schedule?load=true", job_row(planner, priority=4), key="match-02", If_Match=mark)
        assert (late.status_code, late.json()["title"]) == (412, "Changed meanwhile")
        assert Job.objects.get(job="J-1").priority == 2

    def test_an_upload_is_put_aside(self, planner):
        said = planner.post("/lists/Schedule", job_row(planner, priority=2), key="aside-01").json()
        assert planner.ask("DELETE", f"/uploads/{said['upload']}").json()["state"] == "withdrawn"
        assert planner.post(f"/uploads/{said['upload']}/load", {}).status_code == 409

    def test_files_are_read_as_on_the_page(self, planner):
        from django.core.files.uploadedfile import SimpleUploadedFile

        file = SimpleUploadedFile("schedule.csv", b"job,pump,scope,build_date\nJ-1,P-1,full,2026-03-16\n")
        said = {"Authorization": f"Bearer {planner.secret}", "Idempotency-Key": "a-file-01"}
        answer = planner.client.post("/api/v1/uploads", {"files": file}, headers=said)
        assert answer.status_code == 201, answer.json()
        assert answer.json()["lists"][0]["name"] == "Schedule"

    def test_somebody_elses_upload_is_loaded_by_those_who_may(self, planner, program_of):
        said = planner.post("/lists/Schedule", job_row(planner, priority=2), key="others-01").json()
        clerk = program_of("Storeroom clerk")
        assert clerk.post(f"/uploads/{said['upload']}/load", {}).status_code == 403
        assert clerk.ask("DELETE", f"/uploads/{said['upload']}").status_code == 403
        assert clerk.post(f"/uploads/{said['upload']}/take-back", {}).status_code == 403

    @pytest.mark.parametrize(
        "text", ["=1+1", "<script>alert(1)</script>", "x' OR '1'='1", "../../etc/passwd", "\u202e", "\x00"]
    )
    def test_a_text_that_means_harm_is_kept_as_text_or_refused(self, planner, text):
        sent = job_row(planner, customer=text)
        answer = planner.post("/lists/Schedule?load=true", sent, key="harm-0001")
        assert answer.status_code in (201, 422)
        if answer.status_code == 201:
            assert Job.objects.get(job="J-1").customer in (text, "")


@pytest.mark.django_db
class TestMovements:
    def test_a_count_is_booked_once_for_each_key(self, clerk):
        first = clerk.post("/movements", count_of(9), key="count-0001")
        again = clerk.post("/movements", count_of(9), key="count-0001")
        assert first.status_code == 201
        assert first.json() == again.json()
        assert held() == 9
        assert Posting.objects.filter(key__startswith="api:movement:").count() == 1
        assert clerk.post("/movements", count_of(8), key="count-0001").status_code == 422
        assert not ledger_differences()

    def test_a_count_that_agreed_books_nothing_when_it_is_sent_again_after_another_booking(self, clerk):
        there = held()
        assert clerk.post("/movements", count_of(there), key="agrees-001").json() == {"postings": []}
        bent = {**count_of(0), "does": "adjust", "quantity": -1, "reason": "bent"}
        assert clerk.post("/movements", bent, key="agrees-002").status_code == 201
        again = clerk.post("/movements", count_of(there), key="agrees-001")
        assert (again.status_code, again.json()) == (201, {"postings": []})
        assert held() == there - 1

    def test_each_way_to_book_is_the_one_of_the_pages(self, clerk):
        clerk.post("/movements", count_of(9), key="ways-count")
        for does, facts in (
            ("adjust", {"quantity": -1, "reason": "bent"}),
            ("scrap", {"quantity": 1, "reason": "cut"}),
            ("hold", {"quantity": 2, "to_place": "Q1", "reason": "looks odd"}),
        ):
            sent = {**count_of(0), "does": does, **facts}
            answer = clerk.post("/movements", sent, key=f"ways-{does}-1")
            assert answer.status_code == 201, answer.json()
            assert answer.json()["postings"][0]["by"] == "clerk"
        back = answer.json()["postings"][0]["posting"]
        taken = clerk.post(f"/movements/{back}/take-back", {"reason": "it was fine"}, key="ways-back-1")
        assert taken.json()["postings"][0]["reverses"] == back
        assert not ledger_differences()

    def test_what_the_ledger_refuses_is_one_sentence(self, clerk):
        for sent, status in (
            ({**count_of(99), "does": "scrap", "reason": "cut"}, 409),
            ({**count_of(1), "does": "scrap"}, 409),
            ({**count_of(1), "does": "move", "to_place": "NOWHERE"}, 422),
            (count_of(0.0000001), 422),
            (count_of(-1), 409),
            (count_of(1, lot="NO-LOT"), 422),
            (count_of("NaN"), 422),
        ):
            answer = clerk.post("/movements", sent, key="refused-01")
            assert answer.status_code == status, answer.json()
            assert answer.json()["detail"].endswith(".")
        assert not Posting.objects.filter(key__startswith="api:").exists()

    def test_a_delivery_goes_on_the_shelf(self, clerk):
        sent = {"part_number": "BA-1", "lots": [{"lot": "NEW-7", "quantity": 4, "place": "A1"}]}
        first = clerk.post("/deliveries", sent, key="deliver-01")
        assert first.status_code == 201, first.json()
        assert first.json()["postings"][0]["movements"][0]["quantity"] == 4
        assert clerk.post("/deliveries", sent, key="deliver-01").json() == first.json()
        assert sum(Balance.objects.filter(lot__lot="NEW-7").values_list("quantity", flat=True)) == 4 * ONE

    def test_a_request_without_a_key_books_nothing(self, clerk):
        assert clerk.post("/movements", count_of(9)).status_code == 422
        assert not LoggedRequest.objects.filter(key__startswith="api:").exists()


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
def test_two_at_once_with_one_key_book_once():
    load_small()
    program = Program(person_of("Storeroom clerk"))
    sent = {**count_of(0), "does": "adjust", "quantity": -1, "reason": "bent"}
    before, answers = held(), []

    def send():
        try:
            answers.append(program.post("/movements", sent, key="at-once-01"))
        finally:
            connection.close()

    threads = [threading.Thread(target=send) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert {answer.status_code for answer in answers} == {201}
    assert len({str(answer.json()) for answer in answers}) == 1
    assert held() == before - 1
