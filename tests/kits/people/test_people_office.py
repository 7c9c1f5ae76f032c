"""Nobody gives rights that they lack, nor changes whoever has more; what is changed of people and roles is told."""

import re

import pytest
from django.contrib.auth.models import Group, Permission

from kits.people.models import PeopleChange, User
from kits.people.roles import ROLES
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db
PASSWORD = "brass and rings 12"
LACKED = "sessions.delete_session"
"""A right of the framework that no role of the shop has."""


def right(name):
    label, codename = name.split(".")
    return Permission.objects.get(content_type__app_label=label, codename=codename)


def page_of(table, one, what="change"):
    return f"/back-office/{table}/{one.pk}/{what}/"


def fields_of(page):
    """What the form of a page would send if nobody touched it."""
    html = page.content.decode()
    sent = {}
    for tag in re.findall(r"<input [^>]*>", html):
        found = dict(re.findall(r'(name|value|type)="([^"]*)"', tag))
        if found.get("name") and found.get("type") not in ("submit", "file", "checkbox"):
            sent[found["name"]] = found.get("value", "")
        elif found.get("type") == "checkbox" and " checked" in tag:
            sent[found["name"]] = "on"
    for name, options in re.findall(r'<select name="([^"]+)"[^>]*>(.*?)</select>', html, re.S):
        sent[name] = re.findall(r'<option value="([^"]+)" selected', options)
    sent.pop("q", None)
    return sent


def offered(page, name):
    options = re.search(rf'<select name="{name}"[^>]*>(.*?)</select>', page.content.decode(), re.S).group(1)
    return {int(value) for value in re.findall(r'<option value="(\d+)"', options)}


@pytest.fixture
def admin(db):
    return person_of("Administrator", "admin", is_staff=True, first_name="Ad", last_name="Min")


@pytest.fixture
def office(client, admin):
    """The back office with an administrator in it who is no superuser."""
    client.force_login(admin)
    return client


@pytest.fixture
def chief(db):
    return User.objects.create_superuser("chief", password="long before 77")


@pytest.fixture
def clerk(db):
    return person_of("Storeroom clerk")


def change(office, one, table="people/user", **said):
    page = office.get(page_of(table, one))
    assert page.status_code == 200
    return office.post(page_of(table, one), {**fields_of(page), "why": "asked for it", **said})


def test_an_administrator_cannot_make_anybody_a_superuser(office, admin, clerk):
    for person in (clerk, admin):
        assert change(office, person, is_superuser="on").status_code == 302
        person.refresh_from_db()
        assert not person.is_superuser


@pytest.mark.parametrize("what", ["change", "password", "delete"])
def test_a_superuser_is_not_changed_by_an_administrator(office, chief, what):
    before = User.objects.filter(pk=chief.pk).values().get()
    said = {
        "username": "chief",
        "password1": "another pass 12",
        "password2": "another pass 12",
        "usable_password": "true",
    }
    answer = office.post(page_of("people/user", chief, what), {**said, "post": "yes", "set-password": "1"})
    assert answer.status_code == 403
    assert User.objects.filter(pk=chief.pk).values().get() == before


def test_whoever_has_a_right_that_an_administrator_lacks_is_not_changed_by_them(office, clerk):
    sleeping = person_of("", "sleeping", is_active=False)
    for person in (clerk, sleeping):
        person.user_permissions.add(right(LACKED))
        for what in ("change", "password"):
            assert office.post(page_of("people/user", person, what), {}).status_code == 403
        assert office.get(page_of("people/user", person)).status_code == 200, "everybody is seen"


def test_rights_that_one_lacks_are_neither_offered_nor_taken(office, clerk):
    lacked = right(LACKED)
    mine = Group.objects.create(name="mighty")
    mine.permissions.add(lacked)
    page = office.get(page_of("people/user", clerk))
    assert lacked.pk not in offered(page, "user_permissions")
    assert offered(page, "groups") == set(Group.objects.exclude(pk=mine.pk).values_list("pk", flat=True))
    for said in ({"user_permissions": [lacked.pk]}, {"groups": [mine.pk]}):
        assert change(office, clerk, **said).status_code == 200
    clerk.refresh_from_db()
    assert not clerk.has_perm(LACKED)
    assert [group.name for group in clerk.groups.all()] == ["Storeroom clerk"]


def test_a_role_is_given_no_right_that_the_giver_lacks(office):
    clerks, lacked = Group.objects.get(name="Storeroom clerk"), right(LACKED)
    assert change(office, clerks, "auth/group", permissions=[lacked.pk]).status_code == 200
    assert lacked not in clerks.permissions.all()
    mighty = Group.objects.create(name="mighty")
    mighty.permissions.add(lacked)
    for what in ("change", "delete"):
        assert office.post(page_of("auth/group", mighty, what), {"name": "mine", "post": "yes"}).status_code == 403
    chosen = {"action": "delete_selected", "_selected_action": [mighty.pk], "post": "yes"}
    assert office.post("/back-office/auth/group/", chosen).status_code == 403
    assert Group.objects.filter(name="mighty").exists()


def test_only_who_has_all_rights_gives_all_rights(client, chief, clerk):
    client.force_login(chief)
    assert change(client, clerk, is_superuser="on").status_code == 302
    clerk.refresh_from_db()
    assert clerk.is_superuser
    assert told(clerk)[0]["has all rights"] == ("no", "yes")


def test_the_five_roles_can_be_given_by_an_administrator(office, clerk):
    page = office.get(page_of("people/user", clerk))
    roles = Group.objects.filter(name__in=[role.name for role in ROLES])
    assert set(roles.values_list("pk", flat=True)) <= offered(page, "groups")


def test_nobody_is_deleted(client, chief, clerk):
    client.force_login(chief)
    assert client.post(page_of("people/user", clerk, "delete"), {"post": "yes"}).status_code == 403
    chosen = {"action": "delete_selected", "_selected_action": [clerk.pk], "post": "yes"}
    client.post("/back-office/people/user/", chosen)
    assert User.objects.filter(pk=clerk.pk).exists()


def told(one):
    """What the history says, the latest first: of each change what, before and after."""
    return [
        {line["what"]: (line["before"], line["after"]) for line in entry.changes} for entry in one.people_changes.all()
    ]


def test_a_changed_person_is_told_with_before_and_after_by_whom_and_why(office, admin, clerk):
    planners = Group.objects.get(name="Planner")
    answer = change(office, clerk, first_name="Cleo", groups=[*clerk.groups.values_list("pk", flat=True), planners.pk])
    assert answer.status_code == 302
    assert told(clerk) == [{"first name": ("", "Cleo"), "roles": ("Storeroom clerk", "Planner, Storeroom clerk")}]
    entry = clerk.people_changes.get()
    assert (entry.by, entry.why, entry.named) == (admin, "asked for it", "clerk")
    history = office.get(page_of("people/user", clerk, "history")).content.decode()
    for words in ("Planner, Storeroom clerk", "asked for it", "first name"):
        assert words in history


def test_a_change_without_a_reason_is_not_taken(office, clerk):
    assert change(office, clerk, first_name="Cleo", why=" ").status_code == 200
    clerk.refresh_from_db()
    assert clerk.first_name == ""
    assert told(clerk) == []


def test_saving_without_a_change_tells_nothing(office, clerk):
    assert change(office, clerk).status_code == 302
    assert told(clerk) == []


def test_a_new_person_is_told(office, admin):
    said = {"username": "newcomer", "usable_password": "true", "password1": PASSWORD, "password2": PASSWORD}
    assert office.post("/back-office/people/user/add/", said).status_code == 302
    newcomer = User.objects.get(username="newcomer")
    assert told(newcomer)[0]["name to sign in"] == ("", "newcomer")
    assert newcomer.people_changes.get().by == admin


def test_that_a_password_was_set_is_told_and_the_password_is_not(office, admin, clerk):
    said = {"password1": PASSWORD, "password2": PASSWORD, "usable_password": "true", "set-password": "1"}
    assert office.post(page_of("people/user", clerk, "password"), said).status_code == 302
    clerk.refresh_from_db()
    assert clerk.check_password(PASSWORD)
    entry = clerk.people_changes.get()
    assert told(clerk) == [{"password": ("as it was", "set anew")}]
    assert entry.by == admin
    assert clerk.password not in str(entry.changes)
    assert office.post(page_of("people/user", clerk, "password"), {**said, "password2": "no"}).status_code == 200
    assert clerk.people_changes.count() == 1


def test_what_was_given_to_a_role_and_taken_from_it_is_told_also_when_it_is_gone(office):
    keepers = Group.objects.create(name="Keepers")
    view, add = right("stock.view_lot"), right("stock.add_lot")
    keepers.permissions.add(view)
    assert change(office, keepers, "auth/group", permissions=[add.pk]).status_code == 302
    assert told(keepers) == [{"rights": ("stock.view_lot", "stock.add_lot")}]
    assert "stock.add_lot" in office.get(page_of("auth/group", keepers, "history")).content.decode()
    assert office.post(page_of("auth/group", keepers, "delete"), {"post": "yes"}).status_code == 302
    last = PeopleChange.objects.first()
    assert (last.named, last.role) == ("Keepers", None)
    assert {line["what"]: line["before"] for line in last.changes} == {"name": "Keepers", "rights": "stock.add_lot"}
    page = office.get("/back-office/people/peoplechange/").content.decode()
    assert "Keepers" in page
    assert "stock.add_lot" in page


def test_the_history_of_people_is_read_by_administrators_alone(client, clerk):
    clerk.is_staff = True
    clerk.save()
    client.force_login(clerk)
    assert client.get("/back-office/people/peoplechange/").status_code == 403
    assert client.get(page_of("people/user", clerk, "history")).status_code == 403
