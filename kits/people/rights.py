"""Who may give which rights: nobody gives what they lack, nor changes whoever may do more than they do.

Rights are read from the records, and those of somebody who may not sign in at present count as well: a name that is
put to sleep can be woken up.
"""

from __future__ import annotations

from django.contrib.auth.models import Group, Permission
from django.db.models import Q, QuerySet

from kits.people.models import User


def permissions_to_give(giver: User) -> QuerySet[Permission]:
    """Return the permissions that somebody has, and so may give."""
    if giver.is_superuser:
        return Permission.objects.all()
    return Permission.objects.filter(Q(group__user=giver) | Q(user=giver)).distinct()


def groups_to_give(giver: User) -> QuerySet[Group]:
    """Return the roles that hold no permission which somebody lacks."""
    return Group.objects.exclude(permissions__in=_lacked_by(giver))


def may_change(changer: User, one: User | Group) -> bool:
    """Say whether somebody has every right of a person or a role, and so may change it or set the person's password."""
    if changer.is_superuser:
        return True
    lacked = _lacked_by(changer)
    if isinstance(one, Group):
        return not lacked.filter(group=one).exists()
    return not one.is_superuser and not lacked.filter(Q(group__user=one) | Q(user=one)).exists()


def _lacked_by(person: User) -> QuerySet[Permission]:
    return Permission.objects.exclude(pk__in=permissions_to_give(person).values("pk"))
