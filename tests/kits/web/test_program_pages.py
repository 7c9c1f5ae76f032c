"""The pages of tokens: made once, shown once, withdrawn by their person or an administrator."""

import re

import pytest
from django.test import Client

from kits.people.models import AccessToken, PeopleChange
from kits.people.tokens.scopes import READ
from tests.kits.persons import person_of
from tests.kits.web.hands import key_on, tap

pytestmark = pytest.mark.django_db
OWN = "/programs/"


@pytest.fixture
def clerk(client):
    person = person_of("Storeroom clerk")
    client.force_login(person)
    return client


def secret_on(answer):
    return re.search(r'value="(rb_[^"]+)"', answer.content.decode())[1]


def asks(secret):
    return Client().get("/api/v1/lists", headers={"Authorization": f"Bearer {secret}"}).status_code


def test_a_token_is_made_and_its_secret_is_shown_once(clerk):
    answer = tap(clerk, OWN, {"name": "scales", "scopes": [READ]})
    assert answer.headers["Cache-Control"] == "no-store"
    secret = secret_on(answer)
    assert asks(secret) == 200
    page = clerk.get(OWN).content.decode()
    assert "1 token works in the name of clerk." in " ".join(page.split())
    assert secret not in page
    assert PeopleChange.objects.get().by.username == "clerk"


def test_tapped_twice_it_is_made_once(clerk):
    said = {"key": key_on(clerk, OWN), "name": "scales", "scopes": [READ]}
    assert [clerk.post(OWN, said).status_code for _ in range(2)] == [200, 409]
    assert AccessToken.objects.count() == 1


def test_what_was_typed_stays_where_something_is_missing(clerk):
    answer = tap(clerk, OWN, {"name": "scales"})
    assert answer.status_code == 422
    assert 'value="scales"' in answer.content.decode()
    assert "Tick what it may do." in answer.content.decode()
    assert not AccessToken.objects.exists()


def test_nobody_ticks_what_they_may_not(clerk):
    assert "exchange.load_items" not in clerk.get(OWN).content.decode()
    assert tap(clerk, OWN, {"name": "scales", "scopes": ["exchange.load_items"]}).status_code == 422


def test_a_token_is_withdrawn_by_its_person_or_an_administrator_and_by_nobody_else(clerk):
    tokens = []
    for name in ("one", "two"):
        secret = secret_on(tap(clerk, OWN, {"name": name, "scopes": [READ]}))
        tokens.append((AccessToken.objects.get(name=name), secret))
    chief, other = Client(), Client()
    chief.force_login(person_of("Administrator", "chief"))
    other.force_login(person_of("Planner", "other"))
    (one, secret_one), (two, secret_two) = tokens
    address = f"/programs/withdraw/{one.pk}/"
    assert other.post(address, {"key": "x"}).status_code == 403
    assert other.get(f"/people/{one.person_id}/programs/").status_code == 403
    assert tap(clerk, address, {}, on=OWN).status_code == 302
    page = f"/people/{two.person_id}/programs/"
    assert tap(chief, f"/programs/withdraw/{two.pk}/", {}, on=page).headers["Location"] == page
    assert [asks(secret) for secret in (secret_one, secret_two)] == [401, 401]
    assert "withdrawn" in clerk.get(OWN).content.decode()


def test_an_administrator_makes_a_token_that_may_no_more_than_its_person(clerk):
    person = clerk.get("/").wsgi_request.user
    chief = Client()
    chief.force_login(person_of("Administrator", "chief"))
    page = f"/people/{person.pk}/programs/"
    assert "exchange.load_items" not in chief.get(page).content.decode()
    secret = secret_on(tap(chief, page, {"name": "till", "scopes": ["stock.add_posting"]}))
    assert asks(secret) == 403
    assert AccessToken.objects.get().person == person


def test_a_name_that_means_harm_is_shown_as_it_is(clerk):
    tap(clerk, OWN, {"name": "<script>alert(1)</script>", "scopes": [READ]})
    page = clerk.get(OWN).content.decode()
    assert "<script>alert(1)</script>" not in page
    assert "&lt;script&gt;" in page


def test_whoever_has_no_role_makes_no_token(client):
    client.force_login(person_of(""))
    assert "has no role" in client.get(OWN).content.decode()
