"""The description that programs read: every operation keeps to it, whatever is sent."""

import hypothesis
import pytest
import schemathesis
from django.test import Client
from hypothesis import HealthCheck, Phase
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from kits.api import door
from kits.api.interface import api, told_operations
from kits.wsgi import application
from tests.kits.api.conftest import Program
from tests.kits.persons import person_of

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
FEW = 12
ADDRESS = "/api/v1/openapi.json"


def operations():
    return [(method.upper(), path) for path, found in api.get_openapi_schema()["paths"].items() for method in found]


@pytest.mark.django_db
@pytest.mark.parametrize(("method", "path"), operations())
def test_every_operation_keeps_to_its_description_whatever_is_sent(small_shop, monkeypatch, method, path):
    monkeypatch.setattr(door, "A_MINUTE", 10**9)
    chief = Program(person_of("Administrator"))
    said = {"Authorization": f"Bearer {chief.secret}"}
    schema = schemathesis.openapi.from_wsgi(ADDRESS, application, headers=said)
    operation = schema[path][method]

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


@pytest.mark.django_db
def test_the_description_is_for_those_of_the_shop_and_of_the_version_that_is_said(client):
    assert client.get(ADDRESS).status_code == 401
    client.force_login(person_of(""))
    described = client.get(ADDRESS).json()
    assert described["openapi"].startswith("3.1")
    for found in described["paths"].values():
        for one in found.values():
            assert one["description"].endswith((".", ")"))
            assert {"401", "403", "422", "503"} <= one["responses"].keys()
            assert "application/problem+json" in one["responses"]["403"]["content"]
            assert one["security"]


@pytest.mark.django_db
def test_the_page_draws_every_operation_and_fetches_nothing_from_elsewhere(client):
    client.force_login(person_of("Viewer"))
    page = client.get("/programs/interface/").content.decode()
    told = [one for _, found in told_operations() for one in found]
    assert sorted((one.method, one.path) for one in told) == sorted(operations())
    for one in told:
        assert f"{one.method} {one.path}" in page
    assert "://" not in page.replace("http://testserver", "").replace("http://www.w3.org", "")


@pytest.mark.django_db
def test_nobody_else_sees_the_page():
    assert Client().get("/programs/interface/").status_code == 302
