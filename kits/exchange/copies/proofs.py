"""What a database holds, in figures by which two are compared: rows, balances, and what the plan answers."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import date
from hashlib import sha256
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connection, connections
from django.db.migrations.recorder import MigrationRecorder
from django.db.utils import ConnectionHandler

from bom.answers.rows import as_json
from bom.errors import BomError
from bom.plan import plan
from kits.exchange.ready_database import steps_not_known
from kits.planning.queries import today
from kits.planning.snapshot.catalog import forget_catalog
from kits.planning.snapshot.shop import take_snapshot
from kits.planning.words.states import plural
from kits.stock.models import Balance
from kits.stock.queries import ledger_differences


@dataclass(frozen=True, slots=True)
class DatabaseContents:
    """What a database holds: rows by table, balances and the plan of a day as digests, and how far it was migrated."""

    as_of: str
    rows: dict[str, int]
    balances: str
    ledger_differences: int
    plan: str
    migrations: list[str]

    def as_dict(self) -> dict[str, Any]:
        """As it is written down."""
        return asdict(self)

    def says(self) -> str:
        """What it comes to, in a sentence."""
        rows = f"{sum(self.rows.values()):,} rows in {len(self.rows)} tables"
        if self.ledger_differences:
            return (
                f"{rows}; not the sum of its movements: {plural(self.ledger_differences, 'balance')}, run check_ledger"
            )
        return f"{rows}; every balance is the sum of its movements"


def read_contents(as_of: date | None = None) -> DatabaseContents:
    """Read what the database in use holds; the plan is made from nothing, for a day."""
    day = as_of or today()
    return DatabaseContents(
        as_of=day.isoformat(),
        rows=count_rows(),
        balances=_digest([list(row) for row in Balance.objects.order_by("pk").values_list("pk", "quantity")]),
        ledger_differences=len(ledger_differences()),
        plan=_plan_of(day),
        migrations=applied_migrations(),
    )


def differences(before: DatabaseContents, after: DatabaseContents) -> list[str]:
    """One sentence for each figure in which two databases differ; the plans are compared where both are of one day."""
    said = differing_rows(before.rows, after.rows)
    if before.balances != after.balances:
        said.append("The balances are not the same.")
    if before.ledger_differences != after.ledger_differences:
        now = plural(after.ledger_differences, "balance")
        said.append(f"Not the sum of its movements: {now}, not {before.ledger_differences}.")
    if (before.as_of, before.plan) != (after.as_of, after.plan):
        said.append("The plan is not the same.")
    return said


def differing_rows(before: dict[str, int], after: dict[str, int]) -> list[str]:
    """One sentence for each table that does not hold as many rows in both."""
    return [
        f"Rows of {table}: {after.get(table, 0)}, not {before.get(table, 0)}."
        for table in sorted(before.keys() | after.keys())
        if before.get(table, 0) != after.get(table, 0)
    ]


def count_rows() -> dict[str, int]:
    """How many rows every table holds, whatever version it is of; tables without any are left out."""
    with connection.cursor() as cursor:
        tables = connection.introspection.table_names(cursor)
        found = {}
        for table in tables:
            cursor.execute(f"SELECT count(*) FROM {connection.ops.quote_name(table)}")
            (found[table],) = cursor.fetchone()
    return {table: count for table, count in found.items() if count}


def applied_migrations() -> list[str]:
    """The steps that the database has taken."""
    return sorted(".".join(step) for step in MigrationRecorder(connection).applied_migrations())


def steps_of_a_newer_version(applied: list[str]) -> list[str]:
    """The steps of ours that this version does not know."""
    unknown = steps_not_known((label, name) for label, _, name in (step.partition(".") for step in applied))
    return sorted(".".join(step) for step in unknown)


@contextmanager
def work_in(database: dict[str, Any] | Any) -> Iterator[Any]:
    """Let this thread read and write another database, given by its settings or its connection, while it is inside."""
    is_new = isinstance(database, dict)
    other: Any = ConnectionHandler({DEFAULT_DB_ALIAS: database})[DEFAULT_DB_ALIAS] if is_new else database
    own = connections[DEFAULT_DB_ALIAS]
    connections[DEFAULT_DB_ALIAS] = other
    try:
        yield other
    finally:
        connections[DEFAULT_DB_ALIAS] = own
        if is_new:
            other.close()
        forget_catalog()


def _plan_of(day: date) -> str:
    forget_catalog()
    try:
        answer = as_json(plan(take_snapshot(day)))
    except BomError as error:
        return str(error)
    # Rows that are alike in what they are sorted by come as the database gives them.
    return _digest(
        {name: sorted(map(_text, rows)) if isinstance(rows, list) else rows for name, rows in answer.items()}
    )


def _digest(value: Any) -> str:
    return sha256(_text(value).encode()).hexdigest()


def _text(value: Any) -> str:
    return json.dumps(value, sort_keys=True, default=str)
