"""Commands refuse a database that is not there yet, instead of failing inside it; the server makes none."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from django.apps import apps
from django.core.management.base import CommandError
from django.db import DatabaseError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

Step = tuple[str, str]
NEWER = (
    "the database was made by a newer version (steps not known here: {unknown}): run that version again, or "
    "restore a backup of before."
)


@dataclass(frozen=True, slots=True)
class TableSteps:
    """How many steps of this version the database lacks, and how many it has that this version does not know."""

    missing: int
    unknown: int


@cache
def own_steps() -> tuple[frozenset[Step], frozenset[Step]]:
    """The steps of this version and its libraries, read from the files once; and those that one of them stands for."""
    steps = MigrationLoader(None, ignore_no_migrations=True).disk_migrations
    return frozenset(steps), frozenset(before for step in steps.values() for before in step.replaces)


def steps_not_known(taken: Iterable[Step]) -> set[Step]:
    """The steps of ours that this version does not know; a library may drop old steps of its own."""
    own, before = own_steps()
    labels = {app.label for app in apps.get_app_configs() if app.name.startswith("kits.")}
    return {step for step in taken if step[0] in labels} - own - before


def steps_of_tables() -> TableSteps:
    """Compare the database with this version; one or two statements."""
    taken = set(MigrationRecorder(connection).applied_migrations())
    return TableSteps(len(own_steps()[0] - taken), len(steps_not_known(taken)))


def refuse_newer_tables() -> None:
    """Refuse a database that a newer version has changed: this one would write what that one does not expect."""
    if unknown := steps_of_tables().unknown:
        raise CommandError(NEWER.format(unknown=unknown))


def keep_to_the_file_that_is_there() -> None:
    """Let no connection from now on make a new, empty database where the file is gone: it may come back."""
    if connection.vendor == "sqlite":
        path = Path(str(connection.settings_dict["NAME"])).absolute()
        connection.settings_dict["NAME"] = f"{path.as_uri()}?mode=rw"


def refuse_missing_tables() -> None:
    """Refuse a database that cannot be reached, or whose tables are not those of this version."""
    try:
        steps = steps_of_tables()
    except DatabaseError as error:
        raise CommandError(f"the database cannot be used ({str(error).strip()}): check DATABASE_URL.") from error
    if steps.unknown:
        raise CommandError(NEWER.format(unknown=steps.unknown))
    if steps.missing:
        lacks = f"{steps.missing} step{'' if steps.missing == 1 else 's'}"
        raise CommandError(f"the database lacks {lacks} of this version: run manage.py migrate first.")
