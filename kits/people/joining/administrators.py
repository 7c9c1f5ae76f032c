"""Who looks after the people of a site; there is always somebody."""

from __future__ import annotations

from django.contrib.auth.models import Group
from django.db.models import Q, QuerySet

from kits.people.joining.errors import LAST_ADMINISTRATOR, PeopleRefusal
from kits.people.models import User
from kits.people.roles import ADMINISTRATOR


def administrators() -> QuerySet[User]:
    """Everybody who can sign in and is an administrator, or has all rights."""
    in_role = User.groups.through.objects.filter(group__name=ADMINISTRATOR.name).values("user_id")
    return User.objects.filter(Q(is_superuser=True) | Q(pk__in=in_role), is_active=True).order_by("pk")


def stays_administrator(*, active: bool, all_rights: bool, groups: list[Group]) -> bool:
    """Whether somebody of whom this holds looks after people."""
    return active and (all_rights or any(group.name == ADMINISTRATOR.name for group in groups))


def refuse_without_administrator(person: User, found: QuerySet[User] | list[User]) -> None:
    """Refuse to take the last administrator away."""
    pks = {one.pk for one in found}
    if pks == {person.pk}:
        raise PeopleRefusal(LAST_ADMINISTRATOR.format(person=person.get_username()))
