"""Who may load which sheet: asked of the records each time, since a right may be taken while a long list waits."""

from __future__ import annotations

from collections.abc import Iterable

from django.core.exceptions import PermissionDenied

from kits.people.models import User
from kits.people.roles import ADMINISTRATOR, UPLOADING, codename_of, roles_that_load

MAY_UPLOAD = f"{UPLOADING}.add_upload"


def sheets_of(person: User) -> tuple[str, ...]:
    """Return the sheets that somebody may load."""
    return tuple(sheet for sheet in ADMINISTRATOR.loads if person.has_perm(f"{UPLOADING}.{codename_of(sheet)}"))


def sheets_refused(person: User | None, sheets: Iterable[str]) -> list[str]:
    """Return those of some sheets that somebody may not load, as the records stand now; a command may load all."""
    if person is None:
        return []
    stored = User.objects.filter(pk=person.pk).first()
    own = frozenset(sheets_of(stored)) if stored else frozenset()
    return sorted(set(sheets) - own)


def require_sheets(person: User | None, sheets: Iterable[str]) -> None:
    """Refuse somebody who may not load all of some sheets, with the sentence that names them."""
    if refused := sheets_refused(person, sheets):
        raise PermissionDenied(" ".join(f"The sheet {sheet} {who_loads(sheet)}." for sheet in refused))


def who_loads(sheet: str) -> str:
    """Return for whom a sheet is, as the end of a sentence that begins with it."""
    names = [role.named for role in roles_that_load(sheet)]
    return f"is for {' or '.join(filter(None, (', '.join(names[:-1]), names[-1])))} to load"
