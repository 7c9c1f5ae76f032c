import json

import pytest
from django.test import Client
from django.utils import timezone

from kits.people.tokens.actions import make_token
from kits.people.tokens.scopes import scopes_of
from tests.keeping import keeping_plans
from tests.kits.persons import person_of
from tests.kits.web.shops import load_small


class Program:
    """Another program, which brings a token of somebody; ``scopes`` are all of theirs unless said otherwise."""

    def __init__(self, person, scopes=None, name="sheet-reader"):
        self.person = person
        rights = [right for right, _ in scopes_of(person)] if scopes is None else scopes
        self.token, self.secret = make_token(person=person, name=name, scopes=rights, by=person, at=timezone.now())
        self.client = Client(raise_request_exception=False)

    def ask(self, method, address, body=None, key="", **headers):
        sent = {
            "Authorization": f"Bearer {self.secret}",
            **{name.replace("_", "-"): said for name, said in headers.items()},
        }
        if key:
            sent["Idempotency-Key"] = key
        data = {} if body is None else {"data": json.dumps(body), "content_type": "application/json"}
        return self.client.generic(method, f"/api/v1{address}", headers=sent, **data)

    def get(self, address, **headers):
        return self.ask("GET", address, **headers)

    def post(self, address, body, key="", **headers):
        return self.ask("POST", address, body, key, **headers)


@pytest.fixture
def small_shop(db):
    """The small shop, with its plan until something is written."""
    with keeping_plans():
        load_small()
        yield


@pytest.fixture
def program_of(db):
    """A program of somebody with a role."""

    def of(role, scopes=None, name=""):
        return Program(person_of(role, name), scopes)

    return of
