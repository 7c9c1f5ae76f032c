"""Refusals of what is to be done to people."""

from __future__ import annotations

from bom.errors import BomError


class PeopleRefusal(BomError):
    """What is asked of somebody's sign-in cannot be done: one sentence with the rule and the remedy."""


LAST_ADMINISTRATOR = (
    "{person} is the only administrator who can sign in, and without one nobody could add people any more: make "
    "somebody else an administrator first."
)
