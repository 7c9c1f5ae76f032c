"""An empty database gets its tables at once; they are those to which all the steps of earlier versions lead."""

import pytest
from django.core.management import call_command
from django.core.management.commands import migrate
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder

from kits.exchange.copies.proofs import work_in
from kits.people.models import User
from tests.kits.exchange.copies.databases import new_database


def shape():
    """Of each table its columns, and its keys, indexes and checks, whatever the database calls them; the guards."""
    seen = connection.introspection
    with connection.cursor() as cursor:
        tables = {
            table.name: (
                {
                    column.name: (seen.get_field_type(column.type_code, column), column.null_ok)
                    for column in seen.get_table_description(cursor, table.name)
                },
                sorted(str(sorted(fact.items())) for fact in seen.get_constraints(cursor, table.name).values()),
            )
            for table in seen.get_table_list(cursor)
        }
        cursor.execute(
            "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal"
            if connection.vendor == "postgresql"
            else "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        )
        return tables, {name for (name,) in cursor.fetchall()}


@pytest.fixture
def empty_database(tmp_path):
    """Work goes to a database of its own, in which there is nothing."""
    with new_database(tmp_path) as settings, work_in(settings):
        yield


def test_the_steps_lead_to_the_tables_that_are_made_at_once(empty_database, tmp_path):
    call_command("migrate", verbosity=0)
    at_once, taken = shape(), set(MigrationRecorder(connection).applied_migrations())
    assert {"stock_posting_written_once", "stock_movement_written_once"} == at_once[1]
    with new_database(tmp_path) as settings, work_in(settings):
        call_command(migrate.Command(), verbosity=0)
        assert set(MigrationRecorder(connection).applied_migrations()) == taken
        step_by_step = shape()
    # The steps number the roles of the framework in eight bytes, its models in four: a shop has a dozen.
    columns, *_ = at_once[0]["auth_group_permissions"]
    columns["id"] = step_by_step[0]["auth_group_permissions"][0]["id"]
    for table, facts in at_once[0].items():
        assert facts == step_by_step[0][table], table
    assert step_by_step == at_once


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
