"""Stores what was changed of people and roles, inside somebody's transaction only."""

from __future__ import annotations

from datetime import datetime

from django.contrib.auth.models import Group

from kits.people.history import Facts, changes_between
from kits.people.models import PeopleChange, User


def note_change(
    about: User | Group, before: Facts, after: Facts, *, by: User | None, at: datetime, why: str = ""
) -> None:
    """Keep what somebody changed of a person or a role; nothing if it is the same."""
    if changes := changes_between(before, after):
        PeopleChange.objects.create(
            person=about if isinstance(about, User) else None,
            role=about if isinstance(about, Group) else None,
            named=str(about)[:150],
            by=by,
            at=at,
            changes=[{"what": what, "before": was, "after": now} for what, (was, now) in changes.items()],
            why=why,
        )


def note_password(person: User, *, by: User | None, at: datetime) -> None:
    """Keep that a password was set, and by whom; never what it is."""
    note_change(person, {"password": "as it was"}, {"password": "set anew"}, by=by, at=at)
