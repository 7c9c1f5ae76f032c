"""Who opens a door, and what it asks of them: whoever gives the same answers is the same to it, and need not try it.

People are known to a door by their rights alone, unless it asks for the number by which the records know them.
"""

from contextlib import contextmanager
from copy import copy

import pytest
from django.conf import settings
from django.contrib import auth

from kits.people.models import User


class WhoAsks:
    """Notes the rights that are asked of somebody, with the answers, and whether it is asked who they are."""

    def __init__(self, people):
        self._people, self._rights, self._is_asked_who = people, {}, False

    def __get__(self, person, of=None):
        """Stand in the place of the number of a person."""
        self._is_asked_who = True
        return self if person is None else person.__dict__["id"]

    def __set__(self, person, number):
        person.__dict__["id"] = number

    def note(self, right, given):
        self._rights[right] = given

    def forget(self):
        self._rights, self._is_asked_who = {}, False

    def asked_for(self):
        """The rights that were asked since, with the answers; None where it was asked who it is."""
        return None if self._is_asked_who else {**self._rights}

    def found_alike(self, role, method, asked):
        """The answer to somebody who asked in this way and has the same of the rights that they were asked for."""
        if role not in self._people:
            return None
        for way, rights, answer in asked:
            if way == method and rights is not None and self._has(role, rights):
                return answer
        return None

    def _has(self, role, rights):
        return all(self._people[role].has_perm(right) is given for right, given in rights.items())


@contextmanager
def people_known(people, browsers):
    """Who has signed in and what their role may do, read once for all of their requests, hundreds each."""
    of_cookies, read, known = {}, auth.get_user, {}
    for role, found in people.items():
        known[role] = person = User.objects.get(pk=found.pk)
        person.get_all_permissions()  # kept with the person
        of_cookies[browsers[role].cookies[settings.SESSION_COOKIE_NAME].value] = person

    def get_user(request):
        person = of_cookies.get(request.COOKIES.get(settings.SESSION_COOKIE_NAME))
        return read(request) if person is None else copy(person)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(auth, "get_user", get_user)
        yield known


@contextmanager
def noting_who_asks(people, browsers):
    """The same, with notes of what the doors ask of them."""
    has_perm = User.has_perm

    def noted(person, right, *of):
        given = has_perm(person, right, *of)
        notes.note(right, given)
        return given

    with people_known(people, browsers) as known, pytest.MonkeyPatch.context() as patch:
        notes = WhoAsks(known)
        patch.setattr(User, "has_perm", noted)
        patch.setattr(User, "id", notes)
        yield notes
