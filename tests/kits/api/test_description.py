"""The description that programs read, and the page that people read, drawn from it."""

import pytest
from django.test import Client

from kits.api.interface import api, told_operations
from tests.kits.persons import person_of

ADDRESS = "/api/v1/openapi.json"
pytestmark = pytest.mark.django_db


def test_the_description_is_for_those_of_the_shop_and_of_the_version_that_is_said(client):
    assert client.get(ADDRESS).status_code == 401
    client.force_login(person_of(""))
    described = client.get(ADDRESS).json()
    assert described["openapi"].startswith("3.1")
    for found in described["paths"].values():
        for one in found.values():
            assert one["description"].endswith(".")
            assert {"401", "403", "422", "503"} <= one["responses"].keys()
            assert "application/problem+json" in one["responses"]["403"]["content"]
            assert one["security"]


def test_the_page_draws_every_operation_and_fetches_nothing_from_elsewhere(client):
    client.force_login(person_of("Viewer"))
    page = client.get("/programs/interface/").content.decode()
    told = [one for _, found in told_operations() for one in found]
    known = [(method.upper(), path) for path, found in api.get_openapi_schema()["paths"].items() for method in found]
    assert sorted((one.method, one.path) for one in told) == sorted(known)
    for one in told:
        assert f"{one.method} {one.path}" in page
    assert "://" not in page.replace("http://testserver", "").replace("http://www.w3.org", "")


def test_nobody_else_sees_the_page():
    assert Client().get("/programs/interface/").status_code == 302
