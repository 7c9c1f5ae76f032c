"""An empty database gets its tables at once; they are those to which all the steps of earlier versions lead.

On SQLite, ``test_upgrade.py`` asks that of a shop which has taken all steps since the first version.
"""

import pytest
from django.core.management import call_command
from django.core.management.commands import migrate
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder

from kits.exchange.copies.proofs import work_in
from kits.people.models import User
from tests.kits.exchange.copies.databases import are_the_same, new_database, shape


@pytest.fixture
def empty_database(tmp_path):
    """Work goes to a database of its own, in which there is nothing."""
    with new_database(tmp_path) as settings, work_in(settings):
        yield


@pytest.mark.postgres
def test_the_steps_lead_to_the_tables_that_are_made_at_once(empty_database, tmp_path):
    call_command("migrate", verbosity=0)
    at_once, taken = shape(), set(MigrationRecorder(connection).applied_migrations())
    with new_database(tmp_path) as settings, work_in(settings):
        call_command(migrate.Command(), verbosity=0)
        assert set(MigrationRecorder(connection).applied_migrations()) == taken
        are_the_same(shape(), at_once)


def test_a_database_with_tables_is_never_made_anew(empty_database):
    call_command("migrate", verbosity=0)
    User.objects.create_user("clerk")
    call_command("migrate", verbosity=0)
    assert User.objects.filter(username="clerk").exists()


def test_what_breaks_off_leaves_no_tables(empty_database, monkeypatch):
    def refuse(*args, **options):
        raise RuntimeError("the power is gone")

    with monkeypatch.context() as broken:
        broken.setattr(migrate.Command, "handle", refuse)
        with pytest.raises(RuntimeError, match="power"):
            call_command("migrate", verbosity=0)
    assert connection.introspection.table_names() == []
    call_command("migrate", verbosity=0)
    assert User.objects.count() == 0
