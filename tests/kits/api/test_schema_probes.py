"""Every operation keeps to its description, whatever is sent: requests are made from the description itself."""

from functools import cache

import hypothesis
import pytest
from django.core.handlers.wsgi import WSGIHandler
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from hypothesis import HealthCheck, Phase

from kits.api import door
from kits.api.interface import api
from tests.kits.api.conftest import Program
from tests.kits.persons import person_of

WHERE = "the library schemathesis is not installed (requirements-dev.lock has it)"
schemathesis = pytest.importorskip("schemathesis", reason=WHERE)
checks = pytest.importorskip("schemathesis.specs.openapi.checks", reason=WHERE)
general = pytest.importorskip("schemathesis.checks", reason=WHERE)

CHECKS = [
    general.not_a_server_error,
    checks.status_code_conformance,
    checks.content_type_conformance,
    checks.response_headers_conformance,
    checks.response_schema_conformance,
]
FEW = 12


def operations():
    return [(method.upper(), path) for path, found in api.get_openapi_schema()["paths"].items() for method in found]


@cache
def read_description():
    return []


def described(headers):
    """The description as the first who asks is given it, which is the same for all."""
    if not read_description():
        read_description().append(
            schemathesis.openapi.from_wsgi("/api/v1/openapi.json", WSGIHandler(), headers=headers)
        )
    return read_description()[0]


@pytest.fixture
def one_connection():
    """Requests that come by the door of a server use the connection of the test, which they leave open."""
    signals = (request_started, request_finished)
    for signal in signals:
        signal.disconnect(close_old_connections)
    yield
    for signal in signals:
        signal.connect(close_old_connections)


@pytest.mark.django_db
@pytest.mark.usefixtures("small_shop", "one_connection")
@pytest.mark.parametrize(("method", "path"), operations())
def test_every_operation_keeps_to_its_description_whatever_is_sent(monkeypatch, method, path):
    monkeypatch.setattr(door, "A_MINUTE", 10**9)
    chief = Program(person_of("Administrator"))
    said = {"Authorization": f"Bearer {chief.secret}", "Accept-Encoding": "identity"}
    operation = described(said)[path][method]

    @hypothesis.settings(
        max_examples=FEW,
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @hypothesis.given(case=operation.as_strategy())
    def send(case):
        case.call_and_validate(checks=CHECKS, headers=said)

    send()
