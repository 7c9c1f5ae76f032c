"""What people and roles hold, so that their history can tell what of it was changed; of passwords never anything."""

from __future__ import annotations

from django.contrib.auth.models import Group, Permission
from django.db.models import Manager

from kits.people.models import User

Facts = dict[str, str | list[str]]
"""What one is called and may do: a text, or of rights the list, of which only what was taken and given is kept."""


def facts_of(one: User | Group) -> Facts:
    """Return what a person or a role is called and may do."""
    if isinstance(one, Group):
        return {"name": one.name, "rights": _names(one.permissions)}
    return {
        "name to sign in": one.username,
        "first name": one.first_name,
        "last name": one.last_name,
        "email": one.email,
        "may sign in": _yes_no(one.is_active),
        "may enter the back office": _yes_no(one.is_staff),
        "has all rights": _yes_no(one.is_superuser),
        "roles": ", ".join(sorted(one.groups.values_list("name", flat=True))),
        "rights of their own": _names(one.user_permissions),
    }


def changes_between(before: Facts, after: Facts) -> dict[str, tuple[str, str]]:
    """Return what differs, by what it is called: as it was, and as it is now."""
    found: dict[str, tuple[str, str]] = {}
    for name in {**before, **after}:
        was, now = before.get(name, ""), after.get(name, "")
        if isinstance(was, list) or isinstance(now, list):
            taken, given = set(was or ()) - set(now or ()), set(now or ()) - set(was or ())
            was, now = ", ".join(sorted(taken)), ", ".join(sorted(given))
        if was != now:
            found[name] = was, now
    return found


def _yes_no(said: bool) -> str:
    return "yes" if said else "no"


def _names(rights: Manager[Permission]) -> list[str]:
    return [f"{label}.{codename}" for label, codename in rights.values_list("content_type__app_label", "codename")]
