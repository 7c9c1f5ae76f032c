"""Databases beside that of the suite: files of SQLite, or databases on the PostgreSQL server that the tests use."""

import shutil
import uuid
from contextlib import contextmanager

from django.db import connection, connections

from kits.settings import read_database


def sqlite_at(path):
    """The settings of a file of SQLite."""
    return read_database(f"sqlite:///{path}")


@contextmanager
def new_database(folder, template=None):
    """The settings of a database of the suite's kind, with nothing in it or with what another one holds."""
    if connections["default"].vendor == "sqlite":
        path = folder / f"{uuid.uuid4().hex}.sqlite3"
        if template:
            shutil.copy(template["NAME"], path)
        yield sqlite_at(path)
        return
    name, facts = f"other_{uuid.uuid4().hex[:12]}", connection.settings_dict
    with server(facts) as outside:
        outside.execute(
            f"CREATE DATABASE {name} ENCODING 'UTF8' TEMPLATE {template['NAME'] if template else 'template0'}"
        )
    try:
        place = f"{facts['HOST'] or '127.0.0.1'}:{facts['PORT'] or 5432}"
        yield read_database(f"postgres://{facts['USER']}:{facts['PASSWORD']}@{place}/{name}")
    finally:
        with server(facts) as outside:
            outside.execute(f"DROP DATABASE {name} WITH (FORCE)")


@contextmanager
def server(facts):
    """A connection to the server that is in none of these databases."""
    names = {"host": "HOST", "port": "PORT", "user": "USER", "password": "PASSWORD"}
    asked = {name: facts[setting] for name, setting in names.items() if facts.get(setting)}
    with connection.Database.connect(**asked, dbname="postgres", autocommit=True) as found:
        yield found
