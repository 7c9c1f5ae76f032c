"""What an administrator does to people, and what somebody does with a one-time link."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group
from django.core.exceptions import PermissionDenied
from django.db import transaction

from kits.people.history import facts_of
from kits.people.joining.administrators import administrators, refuse_without_administrator, stays_administrator
from kits.people.joining.errors import PeopleRefusal
from kits.people.joining.links import LIVES, digest_of, live_links, new_secret
from kits.people.models import AccessToken, SignInLink, User
from kits.people.rights import groups_to_give, may_change
from kits.people.roles import ADMINISTRATOR
from kits.people.writes import note_change, note_password

GONE = "{person} has left, so nothing was changed: let them come back first."


def add_person(
    *,
    name: str,
    first_name: str,
    last_name: str,
    email: str,
    groups: Iterable[Group],
    office: bool,
    password: str,
    by: User | None,
    at: datetime,
) -> tuple[User, str]:
    """Add somebody with their roles; without a password, return the secret of a link by which they choose one."""
    given = _may_be_given(groups, by)
    with transaction.atomic(durable=True):
        if User.objects.filter(username__iexact=name).exists():
            raise PeopleRefusal(f"There is somebody with the name {name} already: take another, or change theirs.")
        person = User.objects.create(
            username=name,
            first_name=first_name,
            last_name=last_name,
            email=email,
            is_staff=office or _administers(given),
            password=make_password(password or None),
        )
        person.groups.set(given)
        note_change(person, {}, facts_of(person), by=by, at=at)
        secret = "" if password else _store_link(person, by, at)
    return person, secret


def give_link(*, person: User, by: User | None, at: datetime) -> str:
    """Make a link by which somebody signs in once and chooses a password; an older one of theirs ends."""
    with transaction.atomic(durable=True):
        found = _found(person, by)
        if not found.is_active:
            raise PeopleRefusal(GONE.format(person=found.get_username()))
        secret = _store_link(found, by, at)
        note_change(found, {}, {"sign-in link": "given"}, by=by, at=at)
    return secret


def use_link(*, secret: str, password: str, at: datetime) -> User | None:
    """Give whoever brings a link the password that they chose; None where it was used or has ended meanwhile."""
    hashed = make_password(password)
    with transaction.atomic(durable=True):
        link = live_links(at).filter(digest=digest_of(secret)).select_related("person").first()
        if link is None or not SignInLink.objects.filter(pk=link.pk, used_at__isnull=True).update(used_at=at):
            return None
        if not User.objects.filter(pk=link.person_id, is_active=True).update(password=hashed):
            return None
        note_password(link.person, by=link.person, at=at)
    return User.objects.get(pk=link.person_id)


def set_roles(*, person: User, groups: Iterable[Group], office: bool, why: str, by: User, at: datetime) -> None:
    """Change what somebody is; what they may do changes with their next tap."""
    given = _may_be_given(groups, by)
    with transaction.atomic(durable=True):
        now = list(administrators().select_for_update())
        found = _found(person, by)
        if not stays_administrator(active=found.is_active, all_rights=found.is_superuser, groups=given):
            refuse_without_administrator(found, now)
        before = facts_of(found)
        found.groups.set(given)
        staff = office or _administers(given)
        User.objects.filter(pk=found.pk).update(is_staff=staff)
        found.is_staff = staff
        note_change(found, before, facts_of(found), by=by, at=at, why=why)


def let_go(*, person: User, why: str, by: User, at: datetime) -> None:
    """Note that somebody has left: they are signed out everywhere at once, and neither password nor link works."""
    with transaction.atomic(durable=True):
        now = list(administrators().select_for_update())
        found = _found(person, by)
        refuse_without_administrator(found, now)
        before = facts_of(found)
        # Every session is sealed with the password: with it they all end, and stay ended if somebody comes back.
        if not User.objects.filter(pk=found.pk, is_active=True).update(is_active=False, password=make_password(None)):
            raise PeopleRefusal(f"{found.get_username()} has left already, so nothing was changed.")
        SignInLink.objects.filter(person=found, used_at__isnull=True).update(ends_at=at)
        AccessToken.objects.filter(person=found, ended_at__isnull=True).update(ended_at=at, ended_by=by)
        found.is_active = False
        note_change(found, before, facts_of(found), by=by, at=at, why=why)


def take_back_in(*, person: User, why: str, by: User, at: datetime) -> str:
    """Let somebody who had left come back as what they were; return the secret of a link to choose a password."""
    with transaction.atomic(durable=True):
        found = _found(person, by)
        before = facts_of(found)
        if not User.objects.filter(pk=found.pk, is_active=False).update(is_active=True):
            raise PeopleRefusal(f"{found.get_username()} is here already, so nothing was changed.")
        found.is_active = True
        note_change(found, before, facts_of(found), by=by, at=at, why=why)
        return _store_link(found, by, at)


def _found(person: User, by: User | None) -> User:
    found = User.objects.select_for_update().get(pk=person.pk)
    if by is not None and not may_change(by, found):
        raise PermissionDenied(f"{found.get_username()} may do more than you, so you cannot change what they are.")
    return found


def _may_be_given(groups: Iterable[Group], by: User | None) -> list[Group]:
    given = list(groups)
    if by is not None:
        own = set(groups_to_give(by).values_list("pk", flat=True))
        if lacked := [group.name for group in given if group.pk not in own]:
            raise PermissionDenied(f"You may do less than {', '.join(lacked)} may, so you cannot make somebody that.")
    return given


def _administers(groups: list[Group]) -> bool:
    return any(group.name == ADMINISTRATOR.name for group in groups)


def _store_link(person: User, by: User | None, at: datetime) -> str:
    secret = new_secret()
    SignInLink.objects.filter(person=person, used_at__isnull=True).update(ends_at=at)
    SignInLink.objects.create(person=person, digest=digest_of(secret), made_by=by, made_at=at, ends_at=at + LIVES)
    return secret
