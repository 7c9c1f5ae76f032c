"""People on pages of ours: added in one step, shown a link once, changed, gone and back."""

import re

import pytest
from django.contrib.auth.models import Group
from django.test import Client

from kits.people.models import SignInLink, User
from tests.kits.persons import person_of
from tests.kits.web.hands import key_on, tap
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db
PASSWORD = "brass and rings 12"


@pytest.fixture
def office(client):
    """A browser of an administrator."""
    client.force_login(person_of("Administrator", "admin", first_name="Ad", last_name="Min", is_staff=True))
    return client


def role(name):
    return Group.objects.get(name=name).pk


def new(office, **said):
    facts = {"name": "cleo", "first_name": "Cleo", "groups": [role("Storeroom clerk")]}
    return tap(office, "/people/", {**facts, **said}, on="/people/")


def link_in(answer):
    return re.search(r'value="http://testserver(/sign-in/link/[^"]+)"', answer.content.decode())[1]


def choose(browser, link, password=PASSWORD, again=None):
    return browser.post(link, {"new_password": password, "password_again": password if again is None else again})


def test_somebody_is_added_with_their_role_in_one_step_and_comes_in_by_the_link(office):
    answer = new(office)
    assert answer.headers["Cache-Control"] == "no-store"
    link, browser = link_in(answer), Client()
    assert "You sign in as cleo" in sheet_of(browser.get(link))
    assert browser.get(link).status_code == 200, "looking uses nothing up: a mail program looks too"
    answer = choose(browser, link)
    assert (answer.status_code, answer.url) == (302, "/")
    assert browser.get("/roles/").status_code == 200
    assert Client().login(username="cleo", password=PASSWORD)
    for again in (Client().get(link), choose(Client(), link, "another one 13")):
        assert again.status_code == 410
        assert "no longer works" in sheet_of(again)


def test_a_link_is_shown_nowhere_again(office):
    secret = link_in(new(office)).split("/")[-2]
    person = User.objects.get(username="cleo")
    for page in ("/people/", f"/people/{person.pk}/", "/people/?export=csv"):
        assert secret not in office.get(page).content.decode()
    assert "not yet, has a link" in sheet_of(office.get("/people/"))


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"groups": []}, "Tick what they are in the shop"),
        ({"name": ""}, "Write the name by which they sign in"),
        ({"name": "cleo reed"}, "has letters, digits and"),
        ({"name": "admin"}, "somebody with the name admin already"),
        ({"password": "short"}, "take 10 characters or more"),
        ({"email": "cleo"}, "no address of e-mail"),
        ({"groups": [987654]}, "nothing you can make somebody"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field_and_nothing_typed_is_lost(office, said, says):
    answer = new(office, **said)
    assert answer.status_code in (409, 422)
    assert says in sheet_of(answer)
    assert 'value="Cleo"' in answer.content.decode()
    assert not User.objects.filter(first_name="Cleo").exists()


def test_a_new_password_by_a_link_is_refused_where_it_is_easily_guessed_and_the_link_lives_on(office):
    link = link_in(new(office))
    for password, again, says in (("short", None, "10 characters"), (PASSWORD, "other", "The two differ")):
        answer = choose(Client(), link, password, again)
        assert answer.status_code == 422
        assert says in sheet_of(answer)
    assert choose(Client(), link).status_code == 302


def test_a_link_ends_the_session_that_was_there_before(office):
    """Session fixation: whoever brings a link goes on under a key that nobody knew before."""
    link, browser = link_in(new(office)), Client()
    browser.force_login(person_of("Planner"))
    before = browser.cookies["sessionid"].value
    choose(browser, link)
    assert browser.cookies["sessionid"].value != before


def test_the_role_of_somebody_is_changed_with_a_reason(office):
    clerk = person_of("Storeroom clerk")
    page, step = f"/people/{clerk.pk}/", f"/people/{clerk.pk}/roles/"
    answer = tap(office, step, {"groups": [role("Planner"), role("Clean work")], "why": ""}, on=page)
    assert answer.status_code == 422
    assert "Write why" in sheet_of(answer)
    answer = tap(office, step, {"groups": [role("Planner"), role("Clean work")], "why": "moved"}, on=page, follow=True)
    assert "is Planner, Clean work from now on" in sheet_of(answer)
    assert set(clerk.groups.values_list("name", flat=True)) == {"Planner", "Clean work"}
    assert "moved" in sheet_of(office.get(page))


def test_whoever_left_is_gone_and_comes_back_with_a_link(office):
    clerk = person_of("Storeroom clerk", password=PASSWORD)
    page = f"/people/{clerk.pk}/"
    answer = tap(office, f"{page}left/", {"why": "left the shop"}, on=page, follow=True)
    assert "signed out everywhere" in sheet_of(answer)
    assert not Client().login(username="clerk", password=PASSWORD)
    link = link_in(tap(office, f"{page}back/", {"why": "is back"}, on=page))
    assert choose(Client(), link, "another one 13").status_code == 302


def test_a_step_from_an_overtaken_sheet_does_nothing(office):
    clerk = person_of("Storeroom clerk")
    page = f"/people/{clerk.pk}/"
    key = key_on(office, page, f"{page}left/")
    tap(office, f"{page}roles/", {"groups": [role("Planner")], "why": "moved"}, on=page)
    answer = office.post(f"{page}left/", {"key": key, "why": "left"})
    assert answer.status_code == 409
    assert User.objects.get(pk=clerk.pk).is_active


def test_the_last_administrator_is_told_why_they_stay(office):
    admin = User.objects.get(username="admin")
    page = f"/people/{admin.pk}/"
    answer = tap(office, f"{page}left/", {"why": "tired"}, on=page)
    assert answer.status_code == 409
    assert "make somebody else an administrator first" in sheet_of(answer)


def test_somebody_who_may_do_more_is_looked_at_only(office):
    chief = User.objects.create_superuser("chief")
    page = f"/people/{chief.pk}/"
    assert "may do more than you" in sheet_of(office.get(page))
    assert "<form" not in sheet_of(office.get(page))


def test_ways_to_people_and_to_the_back_office_stand_for_those_who_may_go_there(office, reader):
    top = reader.get("/roles/").content.decode()
    assert "/back-office/" not in top
    assert 'href="/people/"' not in top
    office.force_login(User.objects.get(username="admin"))
    top = office.get("/roles/").content.decode()
    assert "/back-office/" in top
    assert 'href="/people/"' in top


def test_a_link_that_was_made_is_told_without_its_secret(office):
    clerk = person_of("Storeroom clerk")
    page = f"/people/{clerk.pk}/"
    link = link_in(tap(office, f"{page}link/", {}, on=page))
    assert SignInLink.objects.get().person == clerk
    assert "sign-in link: – → given" in sheet_of(office.get(page))
    assert link.split("/")[-2] not in office.get(page).content.decode()
