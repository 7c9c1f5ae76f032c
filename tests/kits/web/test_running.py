"""What keeps a site running: its health, its log, packed pages, names of style sheets, a proxy that is believed."""

import gzip
import io
import ipaddress
import json
import logging
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.core.management import CommandError, call_command
from django.db import DatabaseError
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client, RequestFactory
from django.urls import path

from kits.urls import handler500, urlpatterns  # noqa: F401  (this module stands in for the list of addresses below)
from kits.web.serving import health, request_lines
from kits.web.serving.behind_proxy import BehindProxy
from kits.web.serving.static_names import NamedByContent, ServeByContent, marked_name
from tests.kits.persons import person_of


def break_down(request):
    raise RuntimeError("a wheel came off")


urlpatterns = [path("broken/", break_down), *urlpatterns]


@pytest.fixture
def log():
    """What is written to the log, with the filters and the form of the site."""
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.addFilter(request_lines.AddRequest())
    handler.setFormatter(request_lines.LineOfLog())
    handler.text = stream.getvalue
    logging.getLogger().addHandler(handler)
    yield handler
    logging.getLogger().removeHandler(handler)


@pytest.mark.django_db
def test_health_is_told_to_a_stranger_and_tells_nothing_else(client):
    answer = client.get("/health")
    assert answer.status_code == 200
    assert answer.json() == {"process": "up", "database": "up", "migrations": "done"}
    assert "no-store" in answer.headers["Cache-Control"]


@pytest.mark.django_db
def test_health_is_asked_on_the_machine_without_https(client, settings):
    settings.SECURE_SSL_REDIRECT = True
    assert client.get("/health").status_code == 200
    assert client.get("/").status_code == 301


@pytest.mark.django_db
def test_a_database_that_is_away_is_told_and_not_why(client, monkeypatch):
    def away():
        raise DatabaseError("password of bench at 192.0.2.7 is wrong")

    monkeypatch.setattr(health, "steps_of_tables", away)
    answer = client.get("/health")
    assert (answer.status_code, answer.json()["database"]) == (503, "away")
    assert "192.0.2.7" not in answer.content.decode()


@pytest.mark.django_db
def test_missing_steps_and_those_of_a_newer_version_are_told(client):
    MigrationRecorder.Migration.objects.filter(app="axes").first().delete()
    answer = client.get("/health")
    assert (answer.status_code, answer.json()["migrations"]) == (503, "missing")
    MigrationRecorder.Migration.objects.create(app="stock", name="0999_from_the_future")
    assert client.get("/health").json()["migrations"] == "of a newer version"


@pytest.mark.django_db
@pytest.mark.parametrize("command", ["migrate", "serve"])
def test_a_database_of_a_newer_version_is_refused_in_one_sentence(command):
    MigrationRecorder.Migration.objects.create(app="stock", name="0999_from_the_future")
    with pytest.raises(CommandError, match=r"newer version \(steps not known here: 1\).*restore a backup of before"):
        call_command(command)


@pytest.mark.django_db
def test_steps_that_a_library_dropped_are_no_newer_version(client):
    MigrationRecorder.Migration.objects.create(app="axes", name="0000_dropped_since")
    assert client.get("/health").status_code == 200


@pytest.mark.django_db
def test_a_request_is_told_in_one_line_with_who_and_how_long(client, log):
    client.force_login(person_of("Planner", "pat"))
    client.get("/roles/?find=secret")
    (line,) = [one for one in log.text().splitlines() if "/roles/" in one]
    when, level, number, person, *rest = line.split()
    assert (level, len(number), person) == ("INFO", request_lines.NUMBER_SIGNS, "pat")
    assert " ".join(rest[:4]) == "GET /roles/ 200 in"
    assert rest[-1] == "ms"
    assert when.endswith("+00:00")
    assert "secret" not in line


@pytest.mark.django_db
def test_no_address_begins_a_line_of_its_own(client, log):
    client.get("/roles/%0A2026-11-29 INFO X admin GET /all-is-well")
    assert [line for line in log.text().splitlines() if line.startswith("2026-11-29 INFO X")] == []


@pytest.mark.django_db
def test_the_secret_of_a_link_is_not_told(client, log):
    client.get("/sign-in/link/a-secret-of-somebody/")
    assert "/sign-in/link/..." in log.text()
    assert "a-secret-of-somebody" not in log.text()


def test_for_a_program_a_line_is_an_object():
    record = logging.LogRecord("kits.requests", logging.INFO, "", 0, "GET %s", ("/roles/",), None)
    request_lines.AddRequest().filter(record)
    said = json.loads(request_lines.JsonOfLog().format(record))
    assert (said["level"], said["says"], said["logger"]) == ("INFO", "GET /roles/", "kits.requests")


@pytest.mark.urls(__name__)
@pytest.mark.django_db
def test_a_failure_has_a_number_that_its_page_and_the_log_with_its_trace_show(log):
    browser = Client(raise_request_exception=False)
    browser.force_login(person_of("Planner", "pat"))
    answer = browser.get("/broken/")
    assert answer.status_code == 500
    (line,) = [one for one in log.text().splitlines() if " ERROR " in one]
    number = line.split()[2]
    assert f"<strong>{number}</strong>" in answer.content.decode()
    assert "a wheel came off" in log.text()
    assert "a wheel came off" not in answer.content.decode()


@pytest.mark.django_db
def test_texts_travel_packed_and_workbooks_as_they_are(client):
    client.force_login(person_of("Planner", "pat"))
    page = client.get("/roles/", headers={"accept-encoding": "gzip"})
    assert page.headers["Content-Encoding"] == "gzip"
    assert b"What each role may do" in gzip.decompress(page.content)
    assert len(page.content) < len(gzip.decompress(page.content)) / 3
    book = client.get("/roles/?export=xlsx", headers={"accept-encoding": "gzip"})
    assert "Content-Encoding" not in book.headers


def test_a_style_sheet_bears_the_mark_of_its_content_and_is_kept_for_good():
    name = marked_name("web/tokens.css")
    assert NamedByContent().url("web/tokens.css") == f"/static/{name}"
    assert name != "web/tokens.css"
    files = ServeByContent(lambda request: None)
    marked, plain = (files.files[f"/static/{one}"].get_response("GET", {}) for one in (name, "web/tokens.css"))
    assert "immutable" in dict(marked.headers)["Cache-Control"]
    assert "immutable" not in dict(plain.headers)["Cache-Control"]
    assert marked.file.read() == Path(finders.find("web/tokens.css")).read_bytes()
    marked.file.close()
    plain.file.close()


def test_a_file_that_is_not_there_keeps_its_name():
    assert marked_name("web/no-such.css") == "web/no-such.css"


def seen(**headers):
    """What the site learns of a request, behind proxies of one network."""
    learned = {}
    network = [ipaddress.ip_network("172.28.0.0/16")]
    BehindProxy(lambda environ, start: learned.update(environ) or [], network)(
        RequestFactory().get("/", **headers).environ, None
    )
    return learned["REMOTE_ADDR"], learned["wsgi.url_scheme"]


def test_a_proxy_of_ours_says_who_asks_and_how():
    said = {"HTTP_X_FORWARDED_FOR": "203.0.113.9, 198.51.100.4", "HTTP_X_FORWARDED_PROTO": "https"}
    assert seen(REMOTE_ADDR="172.28.0.5", **said) == ("198.51.100.4", "https"), (
        "what the proxy saw, not what it was told"
    )
    assert seen(REMOTE_ADDR="203.0.113.1", **said) == ("203.0.113.1", "http"), "a stranger says so of himself"
    assert seen(REMOTE_ADDR="172.28.0.5", HTTP_X_FORWARDED_FOR="nonsense") == ("172.28.0.5", "http")
