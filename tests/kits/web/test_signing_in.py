"""The way in and out."""

import pytest

from kits.people.models import User
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
PASSWORD = "a long word of passage"


@pytest.fixture
def clerk():
    return User.objects.create_user("clerk", password=PASSWORD)


def enter(client, password, **fields):
    return client.post("/sign-in/", {"username": "clerk", "password": password, **fields})


def test_right_password_leads_to_the_sheet_that_was_asked_for(client, clerk):
    answer = enter(client, PASSWORD, next="/storeroom/")
    assert answer.status_code == 302
    assert answer.url == "/storeroom/"


def test_wrong_password_is_refused_in_our_own_words(client, clerk):
    assert "Nobody has this name with this password" in sheet_of(enter(client, "wrong"))


def test_way_out_to_another_site_is_not_taken(client, clerk):
    assert enter(client, PASSWORD, next="https://elsewhere.example/").url == "/"


def test_signing_out_needs_a_button(client, clerk):
    client.force_login(clerk)
    assert client.get("/sign-out/").status_code == 405
    assert client.post("/sign-out/").url == "/sign-in/"
    assert client.get("/").status_code == 302


def test_too_many_wrong_passwords_shut_the_name_for_a_while(client, clerk, settings):
    settings.AXES_ENABLED = True
    answers = [enter(client, "wrong") for _ in range(6)]
    assert answers[-1].status_code == 429
    assert "Wait a quarter of an hour" in sheet_of(answers[-1])
