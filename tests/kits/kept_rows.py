"""What was done to the tables once comes back row by row: to do it again for each test would be most of the time.

From an empty database on, each step that is kept is a ground for the next ones as long as nothing else is written in
the transaction of the test. Then the same step from the same ground puts in the rows that it changed the first time.
"""

import pickle
import re
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache, wraps

from django.apps import apps
from django.db import IntegrityError, connection, transaction
from django.db.models import AutoField

from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.models import Revision
from tests.emptying import filled_tables


@dataclass
class Ground:
    """The rows of all tables, each table by number, and what was done from here on."""

    tables: dict = field(default_factory=dict)
    steps: dict = field(default_factory=dict)


@dataclass(frozen=True)
class Step:
    """What a step took from each table and put there, what it gave, and where it led."""

    taken: dict
    put: dict
    given: bytes
    ground: Ground


_empty = Ground()


def load_once(name, load):
    """Load a shop; from the second time on, put in the rows that loading had made, whatever else stands there."""
    _do_once(name, load, _find_ground(), anywhere=True)


def step_once(name, do):
    """Do something that changes the tables; the second time from the same ground, put in what it changed.

    What it gives comes back as a copy.
    """
    ground = _find_ground()
    return do() if ground is None else _do_once(name, do, ground)


def kept_step(do):
    """Let a method or function that changes the tables of a shop do so once for the same arguments and ground.

    It leaves its arguments as they are, and nothing but its rows and what it gives is asked of it. Once a test has
    put something in the place of a part of the program, every step is done.
    """

    @wraps(do)
    def step(shop, *args, **said):
        if _watch.is_patched:
            return do(shop, *args, **said)
        name = do.__module__, do.__qualname__, args, tuple(said.items())
        return step_once(name, lambda: do(shop, *args, **said))

    return step


def watch_patches(monkeypatch):
    """Ask this for what a test puts in the place of parts of the program from now on."""
    _watch.patches, _watch.patched_before = monkeypatch, _patched(monkeypatch)


def stored(outcome):
    assert outcome.stored, [problem.says for problem in outcome.problems]


def _do_once(name, do, ground, *, anywhere=False):
    """``ground`` is None where more stands in the tables than is known."""
    steps = (ground or _empty).steps
    if name in steps:
        try:
            with transaction.atomic():
                _put_back(steps[name])
        except IntegrityError:
            del steps[name]  # something stands there already, and only doing it settles what becomes of it
        else:
            _number_on_from(steps[name].put)
            if ground is not None:
                _watch.stand_on(steps[name].ground)
            return pickle.loads(steps[name].given)
    before = ground.tables if ground else _read_tables(_tables())
    with _watch.noting() as written:
        given = do()
    if not written <= {*_tables(), Revision._meta.db_table}:
        return given  # it wrote where nobody looks
    after = _read_tables(written & {*_tables()})
    taken, put = {}, {}
    for table, rows in after.items():
        stood = before.get(table, {})
        taken[table] = {number: row for number, row in stood.items() if rows.get(number) != row}
        put[table] = {number: row for number, row in rows.items() if stood.get(number) != row}
    if anywhere and ground is None and any(before.get(table) for table in put if put[table] or taken[table]):
        return given  # whose rows were whose is not known
    steps[name] = Step(taken, put, pickle.dumps(given), Ground({**(ground or _empty).tables, **after}))
    if ground is not None:
        _watch.stand_on(steps[name].ground)
    return given


class Watch:
    """Watches what is written, by which it is known whether the tables are still as a step left them."""

    def __init__(self):
        self._written, self._writes, self._ground, self._seen = set(), 0, None, None
        self.patches, self.patched_before = None, 0

    def __call__(self, execute, sql, params, many, context):
        said = str(sql).lstrip("( ")
        word = said.partition(" ")[0]
        if word not in READS and not OF_NO_STEP.match(said):
            self._writes += 1
        if word not in READS and word != "ROLLBACK":
            table = OF_TABLE.match(said)
            self._written.add(table and table[1])
        return execute(sql, params, many, context)

    @contextmanager
    def noting(self):
        """The tables that are written meanwhile, None for what is no table."""
        outside, self._written = self._written, set()
        try:
            yield self._written
        finally:
            outside |= self._written
            self._written = outside

    def stand_on(self, ground):
        self._ground, self._seen = ground, self._moment()

    def stands_on(self):
        return self._ground if self._seen == self._moment() else None

    @property
    def is_patched(self):
        """Whether a test has put something in the place of a part of the program."""
        return self.patches is not None and _patched(self.patches) > self.patched_before

    def _moment(self):
        """Of tests that commit, whose threads write unseen, no two moments are alike."""
        blocks = [block for block in connection.atomic_blocks if block._from_testcase] or [object()]
        return self._writes, blocks


READS = {"SELECT", "EXPLAIN", "RELEASE", "PRAGMA", "SAVEPOINT", "SET", "PREPARE", "EXECUTE"}
OF_TABLE = re.compile(r'(?:INSERT(?: OR IGNORE)? INTO|UPDATE|DELETE FROM) "(\w+)"')
OF_NO_STEP = re.compile(
    r'(?:INSERT(?: OR IGNORE)? INTO|UPDATE|DELETE FROM) "(?:django_session|catalog_revision)"'
    r'|UPDATE "people_user" SET "last_login" = [^,]* WHERE'
)
"""No step asks who has signed in and when, or for a mark."""
OF_NO_LIST = (
    "catalog_loggedrequest",
    "stock_",
    "schedule_",
    "service_",
    "picking_",
    "planning_",
    "exchange_",
    "people_",
)
"""Tables that hold nothing of the lists; those of people hold nothing that a plan is made of."""
_watch = Watch()


def _patched(monkeypatch):
    return len(monkeypatch._setattr) + len(monkeypatch._setitem)


def _find_ground():
    """What is known to stand in the tables."""
    if _watch not in connection.execute_wrappers:
        connection.execute_wrappers.append(_watch)
    ground = _watch.stands_on()
    if ground is None and not _read_any():
        ground = _empty
    return ground


def _read_any():
    """Whether any of our tables but the marks holds a row."""
    with connection.cursor() as cursor:
        return not filled_tables(cursor).isdisjoint(_tables())


@cache
def _tables():
    """Our tables but the marks, with the model of each."""
    models = apps.get_models(include_auto_created=True)
    ours = [model for model in models if model.__module__.startswith("kits.") and model is not Revision]
    return {model._meta.db_table: model for model in ours}


@cache
def _columns(table):
    """The names of the columns, the number first."""
    key, *others = sorted(_tables()[table]._meta.concrete_fields, key=lambda field: not field.primary_key)
    return [key.column, *(field.column for field in others)]


def _read_tables(tables):
    """The rows of each table by number."""
    return {table: {row[0]: row for row in _select(table)} for table in tables}


def _select(table, numbers=None):
    quote = connection.ops.quote_name
    columns = _columns(table)
    asked = f"SELECT {', '.join(map(quote, columns))} FROM {quote(table)}"
    with connection.cursor() as cursor:
        if numbers is None:
            cursor.execute(asked)
        else:
            cursor.execute(f"{asked} WHERE {quote(columns[0])} IN ({_places(numbers)})", [*numbers])
        return cursor.fetchall()


def _places(values):
    return ", ".join(["%s"] * len(values))


def _put_back(step):
    """Take and put the rows of a step; what is taken must stand there as it did."""
    quote = connection.ops.quote_name
    for table, rows in step.taken.items():
        if rows:
            if {row[0]: row for row in _select(table, rows)} != rows:
                raise IntegrityError("other rows stand there")
            with connection.cursor() as cursor:
                key = quote(_columns(table)[0])
                cursor.execute(f"DELETE FROM {quote(table)} WHERE {key} IN ({_places(rows)})", [*rows])
    with connection.cursor() as cursor:
        for table, rows in step.put.items():
            columns = _columns(table)
            statement = f"INSERT INTO {quote(table)} ({', '.join(map(quote, columns))}) VALUES "
            rows, most = [*rows.values()], 900 // len(columns)
            for start in range(0, len(rows), most):
                part = rows[start : start + most]
                places = ", ".join([f"({_places(columns)})"] * len(part))
                cursor.execute(statement + places, [value for one in part for value in one])
    changed = {table for part in (step.taken, step.put) for table, rows in part.items() if rows}
    if any(not table.startswith(OF_NO_LIST) for table in changed):
        mark_catalog()
    if any(not table.startswith("people_") for table in changed):
        mark_shop()


def _number_on_from(tables):
    """Let PostgreSQL count on from the rows that were put back with their numbers; in a new database it begins at 1.

    It never counts back: another shop's kept rows may have the numbers that it came to since.
    """
    if connection.vendor != "postgresql":
        return
    counts = []
    for table, rows in tables.items():
        key = _tables()[table]._meta.pk
        if rows and isinstance(key, AutoField):
            numbers = f"pg_get_serial_sequence('{table}', '{key.column}')::regclass"
            counts.append(f"setval({numbers}, greatest({max(rows)}, pg_sequence_last_value({numbers})))")
    if counts:
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT {', '.join(counts)}")
