"""How people are named on pages."""

from __future__ import annotations

from kits.people.models import User


def name_of(person: User | None) -> str:
    """Return the full name, else the name of the sign-in; empty where a command did it."""
    return person.get_full_name() or person.get_username() if person else ""
