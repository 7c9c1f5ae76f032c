"""Who comes in: a token does what both it and its person may, now, and nothing else."""

import logging
import sqlite3
from datetime import date

import pytest
from django.contrib.auth.models import Group
from django.db import OperationalError, connection
from django.test import Client
from django.utils import timezone

from kits.exchange.models import Upload
from kits.people.joining.actions import let_go, take_back_in
from kits.people.models import AccessToken, PeopleChange, User
from kits.people.tokens.actions import make_token, withdraw_token
from kits.people.tokens.scopes import READ, SCOPES
from tests.kits.api.conftest import Program
from tests.kits.persons import person_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("small_shop")]


def test_of_a_secret_only_its_digest_is_kept(program_of):
    program = program_of("Planner")
    kept = str(list(AccessToken.objects.values())) + str(list(PeopleChange.objects.values()))
    assert program.secret.startswith("rb_")
    assert program.secret not in kept
    assert PeopleChange.objects.filter(changes__0__what="token sheet-reader").exists()


def test_without_a_token_that_works_nobody_gets_in():
    client = Client()
    for said in (
        {},
        {"Authorization": "Bearer rb_nothing"},
        {"Authorization": "Basic YTpi"},
        {"Authorization": "Bearer "},
    ):
        answer = client.get("/api/v1/lists", headers=said)
        assert (answer.status_code, answer.headers["WWW-Authenticate"]) == (401, "Bearer")
        assert answer.json()["title"] == "Not signed in"


def test_a_token_opens_no_page(program_of):
    program = program_of("Administrator")
    answer = program.client.get("/people/", headers={"Authorization": f"Bearer {program.secret}"})
    assert (answer.status_code, answer.headers["Location"].partition("?")[0]) == (302, "/sign-in/")


def test_a_token_that_does_not_work_is_nobody_though_somebody_signed_in_beside(client):
    client.force_login(person_of("Viewer"))
    assert client.get("/api/v1/lists").status_code == 200
    assert client.get("/api/v1/lists", headers={"Authorization": "Bearer rb_old"}).status_code == 401


def test_a_token_does_not_do_what_it_was_not_given(program_of):
    program = program_of("Planner", scopes=[READ])
    assert program.get("/plan").status_code == 200
    answer = program.post("/lists/Schedule", {"rows": [{"job": "J-9"}]}, key="narrow-0001")
    assert answer.status_code == 403
    assert "The token sheet-reader may not do this: load the list Schedule." in answer.json()["detail"]


def test_a_token_that_only_loads_reads_nothing(program_of):
    assert program_of("Planner", scopes=["exchange.load_schedule"]).get("/plan").status_code == 403


def test_no_token_is_given_what_its_person_may_not(program_of):
    from django.core.exceptions import PermissionDenied

    viewer = person_of("Viewer")
    with pytest.raises(PermissionDenied):
        make_token(person=viewer, name="x", scopes=["stock.add_posting"], by=viewer, at=timezone.now())


def test_what_a_person_loses_their_token_loses_at_once(program_of):
    program = program_of("Storeroom clerk")
    sent = {"does": "count", "part_number": "OR-014", "lot": "L-1", "place": "A1", "quantity": 3}
    program.person.groups.set([Group.objects.get(name="Viewer")])
    answer = program.post("/movements", sent, key="lost-role-1")
    assert answer.status_code == 403
    assert "clerk may not do this: post movements" in answer.json()["detail"]
    assert program.get("/plan").status_code == 200
    program.person.groups.clear()
    assert program.get("/plan").status_code == 403


def test_the_token_of_somebody_who_left_is_dead_and_stays_so(program_of):
    program, chief = program_of("Planner"), User.objects.create_superuser("chief")
    let_go(person=program.person, why="moved on", by=chief, at=timezone.now())
    assert program.get("/plan").status_code == 401
    take_back_in(person=program.person, why="back", by=chief, at=timezone.now())
    assert program.get("/plan").status_code == 401


def test_a_withdrawn_token_is_dead(program_of):
    program = program_of("Planner")
    withdraw_token(token=program.token, by=program.person, at=timezone.now())
    assert program.get("/plan").status_code == 401


def test_the_last_day_of_use_is_kept_and_written_once_a_day(program_of, django_assert_num_queries):
    program = program_of("Viewer")
    program.get("/lists")
    assert AccessToken.objects.get().used_on == timezone.localdate()
    with django_assert_num_queries(3):
        program.get("/lists")
    AccessToken.objects.update(used_on=date(2026, 1, 1))
    program.get("/lists")
    assert AccessToken.objects.get().used_on == timezone.localdate()


def test_the_log_tells_the_person_and_the_token(program_of, caplog):
    from kits.web.serving.request_lines import AddRequest, LineOfLog

    with caplog.at_level(logging.INFO, "kits.requests"):
        program_of("Viewer").get("/lists")
    record = next(one for one in caplog.records if one.name == "kits.requests")
    AddRequest().filter(record)
    assert " viewer/sheet-reader GET /api/v1/lists 200" in LineOfLog().format(record)


def test_a_browser_needs_its_form_token_and_a_program_does_not(program_of):
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(person_of("Planner", "other"))
    address, sent = "/api/v1/lists/Schedule", b'{"rows": [{"job": "J-1"}]}'
    said = {"content_type": "application/json", "headers": {"Idempotency-Key": "browser-01"}}
    assert browser.post(address, sent, **said).status_code == 403
    program = Program(person_of("Planner", "pat"))
    program.client = Client(enforce_csrf_checks=True)
    assert program.post("/lists/Schedule", {"rows": [{"job": "J-1"}]}, key="program-01").status_code == 201


def test_more_than_so_many_a_minute_wait(program_of, monkeypatch):
    from kits.api import door

    monkeypatch.setattr(door, "A_MINUTE", 3)
    door.cache.clear()
    program = program_of("Viewer")
    answers = [program.get("/lists") for _ in range(7)]
    assert {200, 429} == {answer.status_code for answer in answers}
    assert 0 < int(answers[-1].headers["Retry-After"]) <= 60


def test_a_long_body_of_a_stranger_is_not_read(program_of):
    answer = Client().post("/api/v1/lists/Schedule", b" " * 9000, content_type="application/json")
    assert answer.status_code == 413


@pytest.mark.parametrize(
    "role", ["Storeroom clerk", "Planner", "Purchasing", "Service lead", "Administrator", "Viewer", ""]
)
def test_every_role_does_what_its_pages_do_and_nothing_else(role):
    from kits.people.roles import ADMINISTRATOR, ROLES

    own = next((one for one in ROLES if one.name == role), None)
    person = person_of(role, "one")
    if not role:
        token = AccessToken(
            person=person, name="t", digest="d", scopes=[right for right, _ in SCOPES], made_at=timezone.now()
        )
        token.save()
        from kits.people.joining.links import digest_of

        AccessToken.objects.update(digest=digest_of("rb_x"))
        program = Program.__new__(Program)
        program.person, program.secret, program.client = person, "rb_x", Client(raise_request_exception=False)
    else:
        program = Program(person)
    for address in ("/lists", "/lists/Lots", "/plan", "/movements", "/openapi.json"):
        expected = 200 if role or address == "/openapi.json" else 403
        assert program.get(address).status_code == expected, address
    for place, sheet in enumerate(ADMINISTRATOR.loads):
        answer = program.post(f"/lists/{sheet}", {"rows": [{"nothing": "x"}]}, key=f"each-role-{place}")
        assert answer.status_code == (201 if own and sheet in own.loads else 403), sheet
    sent = {"does": "count", "part_number": "OR-014", "lot": "NO-LOT", "place": "A1", "quantity": 3}
    books = role in ("Storeroom clerk", "Administrator")
    assert program.post("/movements", sent, key="each-role-m").status_code == (422 if books else 403)
    delivery = {"part_number": "NO-PART", "lots": [{"quantity": 1, "place": "A1"}]}
    assert program.post("/deliveries", delivery, key="each-role-d").status_code == (422 if books else 403)
    assert program.post("/movements/999999/take-back", {"reason": "r"}, key="each-role-b").status_code == (
        404 if books else 403
    )
    loads = bool(own and own.loads)
    assert program.get("/uploads/999999").status_code == (404 if loads else 403)
    assert program.ask("DELETE", "/uploads/999999").status_code == (404 if loads else 403)


def test_a_token_puts_aside_only_what_it_may_load(program_of):
    planner = program_of("Planner")
    said = planner.post("/lists/Schedule", {"rows": [{"job": "J-1", "priority": 2}]}, key="aside-0001").json()
    other = Program(planner.person, ["exchange.load_verdicts"], "verdicts-only")
    answer = other.ask("DELETE", f"/uploads/{said['upload']}")
    assert answer.status_code == 403
    assert "The token verdicts-only may not do this: load the list Schedule." in answer.json()["detail"]
    assert planner.ask("DELETE", f"/uploads/{said['upload']}").json()["state"] == "withdrawn"


def test_a_token_that_loads_no_list_asks_nothing_of_an_upload_that_touches_none(program_of):
    planner = program_of("Planner")
    upload = Upload.objects.create(by=planner.person, at=timezone.now(), state="checked")
    reader = Program(planner.person, [READ], "only-reads")
    for what in ("load", "take-back"):
        answer = reader.post(f"/uploads/{upload.pk}/{what}", {})
        assert (answer.status_code, "may load no list" in answer.json()["detail"]) == (403, True)
    upload.refresh_from_db()
    assert upload.state == "checked"


def busy(execute, sql, params, many, context):
    """A database in which somebody else writes and writes."""
    if not sql.startswith("UPDATE"):
        return execute(sql, params, many, context)
    cause = sqlite3.OperationalError("database is locked")
    cause.sqlite_errorname = "SQLITE_BUSY"
    raise OperationalError("database is locked") from cause


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
def test_a_token_works_though_its_day_of_use_cannot_be_kept_just_now(program_of):
    program = program_of("Viewer")
    with connection.execute_wrapper(busy):
        assert program.get("/lists").status_code == 200
    assert AccessToken.objects.get().used_on is None
