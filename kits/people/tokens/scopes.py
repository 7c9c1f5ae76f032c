"""What a token may be let do: rights of its person, and never more than those."""

from __future__ import annotations

from kits.people.models import User
from kits.people.roles import ADMINISTRATOR, UPLOADING, codename_of

READ = "catalog.view_item"
BOOK = "stock.add_posting"
SCOPES: tuple[tuple[str, str], ...] = (
    (READ, "Read every list, the plan and the movements"),
    (BOOK, "Post movements of the storeroom, and take them back"),
    *((f"{UPLOADING}.{codename_of(sheet)}", f"Load the list {sheet}") for sheet in ADMINISTRATOR.loads),
)
"""Each right that other programs use, and what it lets them do."""


def scopes_of(person: User) -> tuple[tuple[str, str], ...]:
    """The scopes that a token of somebody may have: what they may do themselves."""
    return tuple((right, says) for right, says in SCOPES if person.has_perm(right))


def loads_by(rights: frozenset[str]) -> tuple[str, ...]:
    """The lists that a token with these rights may load, as far as its person may."""
    return tuple(sheet for sheet in ADMINISTRATOR.loads if f"{UPLOADING}.{codename_of(sheet)}" in rights)
