"""The programs that come with PostgreSQL, run on the database in use."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterable
from pathlib import Path
from tempfile import TemporaryFile

from django.db import connection

from kits.exchange.copies.refusals import CopyRefused


def dump(path: Path, snapshot: str) -> None:
    """Write the database as it stood when a snapshot was taken, packed."""
    options = ["--format=custom", "--no-owner", "--no-privileges", f"--snapshot={snapshot}", f"--file={path}"]
    run([find_program("pg_dump"), *options, str(connection.get_connection_params()["dbname"])])


def migrations_in(path: Path) -> list[str]:
    """The steps that a dump says its database has taken."""
    command = [find_program("pg_restore"), "--data-only", "--table=django_migrations", "--file=-", str(path)]
    lines = run(command).splitlines()
    begins = next((number for number, line in enumerate(lines) if line.startswith("COPY ")), len(lines))
    columns = lines[begins].partition("(")[2].partition(")")[0].split(", ") if begins < len(lines) else []
    rows = [dict(zip(columns, line.split("\t"), strict=False)) for line in lines[begins + 1 :]]
    return sorted(f"{row['app']}.{row['name']}" for row in rows if "name" in row)


def replace_all(path: Path) -> None:
    """Put a dump in the place of whatever the database holds, in one transaction: wholly or not at all."""
    script = [find_program("pg_restore"), "--no-owner", "--no-privileges", "--file=-", str(path)]
    store = [find_program("psql"), "--quiet", "--no-psqlrc", "--single-transaction", "--set=ON_ERROR_STOP=1"]
    for statement in _drop_all():
        store += ["--command", statement]
    store += ["--file=-", str(connection.get_connection_params()["dbname"])]
    around = environment()
    with TemporaryFile() as said, subprocess.Popen(script, stdout=subprocess.PIPE, stderr=said, env=around) as reads:
        stored = subprocess.run(
            store, stdin=reads.stdout, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env=around, check=False
        )
    if stored.returncode or reads.returncode:
        raise CopyRefused(f"the copy could not be stored, and nothing was changed: {_last_line(stored.stderr)}")


def find_program(name: str) -> str:
    """The place of a program of PostgreSQL."""
    found = shutil.which(name)
    if found is None:
        raise CopyRefused(f"{name} is not installed on this machine: install the PostgreSQL client programs.")
    return found


def run(command: list[str]) -> str:
    """Run a program of PostgreSQL and return what it says."""
    finished = subprocess.run(command, env=environment(), capture_output=True, check=False)
    if finished.returncode:
        raise CopyRefused(f"{Path(command[0]).name} failed: {_last_line(finished.stderr)}")
    return finished.stdout.decode(errors="replace")


def environment() -> dict[str, str]:
    """Where the server is and who asks, so that no password stands on a command line."""
    facts = connection.get_connection_params()
    named = (("PGHOST", "host"), ("PGPORT", "port"), ("PGUSER", "user"), ("PGPASSWORD", "password"))
    more = (("PGSSLMODE", "sslmode"), ("PGSSLROOTCERT", "sslrootcert"))
    return {**os.environ, **{variable: str(facts[name]) for variable, name in (*named, *more) if facts.get(name)}}


def _drop_all() -> Iterable[str]:
    """Statements that take away every table and function of the schema in use; extensions and their own stay."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT format('DROP TABLE IF EXISTS %s CASCADE', c.oid::regclass) FROM pg_class c"
            " WHERE c.relnamespace = current_schema()::regnamespace AND c.relkind IN ('r', 'p')"
            " UNION ALL SELECT format('DROP ROUTINE IF EXISTS %s CASCADE', p.oid::regprocedure) FROM pg_proc p"
            " WHERE p.pronamespace = current_schema()::regnamespace AND NOT EXISTS"
            " (SELECT 1 FROM pg_depend d WHERE d.objid = p.oid AND d.deptype = 'e')"
        )
        return [statement for (statement,) in cursor.fetchall()]


def _last_line(said: bytes) -> str:
    lines = said.decode(errors="replace").strip().splitlines()
    return lines[-1] if lines else "it gave no message"
