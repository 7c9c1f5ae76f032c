"""The way in and out."""

from datetime import UTC, datetime

import pytest
import time_machine
from axes.models import AccessAttempt
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.test import Client

from kits.people.actions import change_password
from kits.people.models import PeopleChange, User
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
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
    opened = client.get("/sign-out/")
    assert (opened.status_code, opened.headers["Allow"]) == (405, "POST, OPTIONS")
    assert "this address belongs to a button" in sheet_of(opened)
    assert client.post("/sign-out/").url == "/sign-in/"
    assert client.get("/").status_code == 302


@pytest.fixture
def brake(settings):
    """The brake on guessing, which other tests do without."""
    settings.AXES_ENABLED = True


def guess(client, name="clerk", password="wrong", **where):
    return client.post("/sign-in/", {"username": name, "password": password}, **where).status_code


def test_too_many_wrong_passwords_shut_the_name_for_a_minute(client, clerk, brake):
    with time_machine.travel(AT, tick=False) as clock:
        assert [guess(client) for _ in range(6)] == [200, 200, 200, 200, 429, 429]
        assert "Wait a minute" in sheet_of(enter(client, PASSWORD))
        clock.shift(61)
        assert enter(client, PASSWORD).status_code == 302


def test_nobody_keeps_a_colleague_out_by_going_on_with_wrong_passwords(client, clerk, brake):
    with time_machine.travel(AT, tick=False) as clock:
        shut = [guess(client) for _ in range(5)]
        for _ in range(6):
            clock.shift(10)
            shut.append(guess(client))
        clock.shift(1)
        assert (shut[-1], enter(client, PASSWORD).status_code) == (429, 302)


def test_shut_name_leaves_colleagues_at_the_same_tablet_and_itself_elsewhere_alone(client, clerk, brake):
    User.objects.create_user("planner", password=PASSWORD)
    for _ in range(6):
        guess(client)
    assert guess(client, "planner", PASSWORD) == 302
    assert guess(client, "clerk", PASSWORD, REMOTE_ADDR="192.0.2.9") == 302


def test_guessing_across_names_shuts_the_address_for_a_minute(client, clerk, brake):
    with time_machine.travel(AT, tick=False) as clock:
        tried = [guess(client, f"name-{number}") for number in range(20)]
        assert tried == [200] * 19 + [429]
        assert guess(client, "clerk", PASSWORD) == 429
        assert guess(client, "clerk", PASSWORD, REMOTE_ADDR="192.0.2.9") == 302
        clock.shift(61)
        assert guess(client, "clerk", PASSWORD) == 302


def test_own_sign_in_does_not_give_back_guesses_at_others(client, clerk, brake):
    for number in range(19):
        guess(client, f"name-{number}")
    assert guess(client, "clerk", PASSWORD) == 302
    client.logout()
    assert guess(client, "name-19") == 429


def test_one_house_with_many_addresses_guesses_no_more_than_with_one(client, clerk, brake):
    tried = [guess(client, REMOTE_ADDR=f"2001:db8:0:1::{number}") for number in range(5)]
    assert tried == [200] * 4 + [429]


def fill_in(client, old, new, again=None):
    said = {"old_password": old, "new_password": new, "password_again": new if again is None else again}
    return client.post("/password/", said)


def test_password_is_changed_here_and_whoever_else_is_signed_in_by_the_old_one_is_out(client, clerk):
    other = Client()
    for browser in (client, other):
        enter(browser, PASSWORD)
    assert 'href="/password/"' in client.get("/").content.decode()
    assert client.get("/password/").status_code == 200
    assert fill_in(client, PASSWORD, "hollow brass kettle").url == "/"
    assert "Your password is changed" in sheet_of(client.get("/"))
    assert (client.get("/").status_code, other.get("/").status_code) == (200, 302)
    assert enter(other, PASSWORD).status_code == 200
    assert enter(other, "hollow brass kettle").status_code == 302


@pytest.mark.parametrize(
    ("old", "new", "again", "says"),
    [
        ("wrong", "hollow brass kettle", None, "This is not your present password"),
        (PASSWORD, "hollow brass kettle", "hollow brass cattle", "The two differ"),
        (PASSWORD, PASSWORD, None, "This is your present password: choose another"),
        (PASSWORD, "clerk20262026", None, "little more than your name"),
        (PASSWORD, "brass", None, "take 10 characters or more"),
        (PASSWORD, "", "", "fill it in"),
    ],
)
def test_password_that_cannot_be_is_refused_and_the_old_one_stays(client, clerk, old, new, again, says):
    enter(client, PASSWORD)
    answer = fill_in(client, old, new, again)
    assert answer.status_code == 422
    assert says in sheet_of(answer)
    clerk.refresh_from_db()
    assert clerk.check_password(PASSWORD)


def test_old_password_is_not_guessed_at_an_open_screen_either(client, clerk, brake):
    client.force_login(clerk)
    assert [fill_in(client, "wrong", "hollow brass kettle").status_code for _ in range(6)][-1] == 429
    assert fill_in(client, PASSWORD, "hollow brass kettle").status_code == 429
    kept = " ".join(AccessAttempt.objects.values_list("post_data", flat=True))
    assert "wrong" not in kept
    assert "kettle" not in kept


def test_of_two_changes_at_once_the_first_one_holds(clerk):
    same = User.objects.get(pk=clerk.pk)
    assert change_password(person=clerk, password="hollow brass kettle", at=AT)
    assert not change_password(person=same, password="green garden gate", at=AT)
    clerk.refresh_from_db()
    assert clerk.check_password("hollow brass kettle")
    assert [(change.named, change.by) for change in PeopleChange.objects.all()] == [("clerk", clerk)]


def test_back_office_leads_to_the_same_page(admin_client):
    assert admin_client.get("/back-office/password_change/").url == "/password/"


@pytest.mark.parametrize(
    "password",
    ["clerk2026!!", "2026clerk2026", "Cleo.Clark1", "cleoclark-77", "CLERK clerk 11", "ClèoClerk1234", "xclerkx12345"],
)
def test_name_with_something_behind_it_is_no_password(password):
    person = User(username="clerk", first_name="Cleo", last_name="Clark", email="c.clark@shop.example")
    with pytest.raises(ValidationError, match="little more than your name: choose three or four words"):
        validate_password(password, person)


@pytest.mark.parametrize(
    ("password", "says"),
    [("password123", "tried first"), ("20260304112233", "is a number"), ("short-1", "too short")],
)
def test_password_that_is_guessed_first_is_refused_with_the_remedy(password, says):
    with pytest.raises(ValidationError, match=says):
        validate_password(password, User(username="clerk"))


@pytest.mark.parametrize("password", ["hollow brass kettle", "ann purchased 3 kettles", "clerk-of-the-garden"])
def test_words_that_have_nothing_to_do_with_the_name_are_taken(password):
    validate_password(password, User(username="clerk", first_name="Ann"))
