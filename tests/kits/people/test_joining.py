"""Coming, changing what one is, and leaving: links that work once, and always an administrator."""

from datetime import timedelta
from threading import Barrier, Thread

import pytest
from django.contrib.auth.models import Group
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.test import Client
from django.utils import timezone

from kits.people.joining.actions import add_person, give_link, let_go, set_roles, take_back_in, use_link
from kits.people.joining.errors import PeopleRefusal
from kits.people.joining.links import LIVES, find_link
from kits.people.models import SignInLink, User
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db
NOW = timezone.now()
PASSWORD = "brass and rings 12"


def groups(*names):
    return list(Group.objects.filter(name__in=names))


@pytest.fixture
def admin(db):
    return person_of("Administrator", "admin", is_staff=True)


def add(by, name="cleo", **said):
    facts = {"first_name": "Cleo", "last_name": "Reed", "email": "", "office": False, "password": ""}
    said = {**facts, "groups": groups("Storeroom clerk"), **said}
    return add_person(name=name, by=by, at=NOW, **said)


def told(person):
    return [{one["what"]: (one["before"], one["after"]) for one in row.changes} for row in person.people_changes.all()]


def test_somebody_new_has_their_role_and_a_link_and_no_password(admin):
    person, secret = add(admin)
    assert [group.name for group in person.groups.all()] == ["Storeroom clerk"]
    assert not person.has_usable_password()
    assert find_link(secret, NOW).person == person
    assert told(person)[0]["roles"] == ("", "Storeroom clerk")


def test_a_secret_is_kept_nowhere(admin):
    _, secret = add(admin)
    link = SignInLink.objects.get()
    assert secret not in str(SignInLink.objects.values().get())
    assert len(link.digest) == 64
    assert len(secret) >= 43, "256 bits in base64, six a letter"


def test_somebody_with_a_password_gets_no_link(admin):
    person, secret = add(admin, password=PASSWORD)
    assert (secret, person.check_password(PASSWORD), SignInLink.objects.count()) == ("", True, 0)


def test_a_name_is_given_once_however_it_is_spelled(admin):
    add(admin)
    with pytest.raises(PeopleRefusal, match="somebody with the name CLEO already"):
        add(admin, name="CLEO")


def test_a_link_works_once(admin):
    person, secret = add(admin)
    assert use_link(secret=secret, password=PASSWORD, at=NOW) == person
    person.refresh_from_db()
    assert person.check_password(PASSWORD)
    assert use_link(secret=secret, password="another one 13", at=NOW) is None
    person.refresh_from_db()
    assert person.check_password(PASSWORD)
    assert told(person)[0] == {"password": ("as it was", "set anew")}


def test_a_link_ends(admin):
    _, secret = add(admin)
    assert find_link(secret, NOW + LIVES - timedelta(seconds=1))
    assert find_link(secret, NOW + LIVES) is None
    assert use_link(secret=secret, password=PASSWORD, at=NOW + LIVES) is None


def test_a_newer_link_ends_the_older_one(admin):
    person, first = add(admin)
    second = give_link(person=person, by=admin, at=NOW)
    assert find_link(first, NOW) is None
    assert find_link(second, NOW).person == person


def test_the_old_password_holds_until_the_link_is_used(admin):
    person, _ = add(admin, password=PASSWORD)
    secret = give_link(person=person, by=admin, at=NOW)
    assert User.objects.get(pk=person.pk).check_password(PASSWORD)
    use_link(secret=secret, password="another one 13", at=NOW)
    assert not User.objects.get(pk=person.pk).check_password(PASSWORD)


def test_whoever_left_is_signed_out_at_once_everywhere_and_stays_so_when_they_are_back(admin):
    person, _ = add(admin, password=PASSWORD)
    browsers = [Client(), Client()]
    for browser in browsers:
        assert browser.login(username="cleo", password=PASSWORD)
        assert browser.get("/roles/").status_code == 200
    secret = give_link(person=person, by=admin, at=NOW)
    let_go(person=person, why="left the shop", by=admin, at=NOW)
    assert [browser.get("/roles/").status_code for browser in browsers] == [302, 302]
    assert not Client().login(username="cleo", password=PASSWORD)
    assert find_link(secret, NOW) is None
    new = take_back_in(person=person, why="is back", by=admin, at=NOW)
    assert [browser.get("/roles/").status_code for browser in browsers] == [302, 302]
    assert not Client().login(username="cleo", password=PASSWORD)
    assert find_link(new, NOW).person == person
    assert [row.why for row in person.people_changes.all()][:2] == ["is back", "left the shop"]


def test_a_changed_role_counts_with_the_next_request(admin):
    person, _ = add(admin, password=PASSWORD)
    browser = Client()
    browser.login(username="cleo", password=PASSWORD)
    assert browser.get("/people/").status_code == 403
    set_roles(person=person, groups=groups("Administrator"), office=False, why="helps out", by=admin, at=NOW)
    assert browser.get("/people/").status_code == 200
    person.refresh_from_db()
    assert person.is_staff, "an administrator may enter the back office"


def test_the_last_administrator_stays(admin):
    with pytest.raises(PeopleRefusal, match="only administrator who can sign in"):
        let_go(person=admin, why="left", by=admin, at=NOW)
    with pytest.raises(PeopleRefusal, match="only administrator"):
        set_roles(person=admin, groups=groups("Planner"), office=False, why="tired", by=admin, at=NOW)
    sleeping = person_of("Administrator", "sleeping", is_active=False)
    with pytest.raises(PeopleRefusal, match="only administrator"):
        let_go(person=admin, why="left", by=admin, at=NOW)
    take_back_in(person=sleeping, why="is back", by=admin, at=NOW)
    let_go(person=admin, why="left", by=admin, at=NOW)
    assert not User.objects.get(pk=admin.pk).is_active


def test_the_last_administrator_stays_in_the_back_office_too(admin, client):
    from tests.kits.people.test_people_office import change

    client.force_login(admin)
    roles = [group.pk for group in groups("Planner")]
    for said in ({"groups": roles}, {"is_active": ""}):
        answer = change(client, admin, **said)
        assert answer.status_code == 200
        assert "only administrator who can sign in" in answer.content.decode()
    assert (
        client.post(f"/back-office/auth/group/{groups('Administrator')[0].pk}/delete/", {"post": "yes"}).status_code
        == 403
    )


def test_nobody_makes_somebody_more_than_they_are_themselves(admin):
    planner = person_of("Planner")
    with pytest.raises(PermissionDenied, match="may do less than Administrator"):
        add(planner, groups=groups("Administrator"))
    with pytest.raises(PermissionDenied, match="may do more than you"):
        let_go(person=admin, why="fun", by=planner, at=NOW)
    with pytest.raises(PermissionDenied, match="may do more than you"):
        give_link(person=admin, by=planner, at=NOW)


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_of_two_administrators_who_remove_each_other_one_stays():
    people = [person_of("Administrator", name) for name in ("ada", "bea")]
    start, refused = Barrier(2), []

    def remove(who, whom):
        start.wait()
        try:
            let_go(person=whom, why="quarrel", by=who, at=NOW)
        except (PeopleRefusal, PermissionDenied) as error:
            refused.append(str(error))
        finally:
            connection.close()

    threads = [Thread(target=remove, args=pair) for pair in (people, people[::-1])]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (len(refused), User.objects.filter(is_active=True).count()) == (1, 1)
