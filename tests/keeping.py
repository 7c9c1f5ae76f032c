"""Plans kept in a test's own transaction, as a site keeps them, until anything is written, whether marked or not.

Each test runs in a transaction that is taken back, and the program keeps nothing that was read inside a transaction:
every page of a test is planned from nothing, which no site does and which is most of the time of tests of many pages.
Here they are kept; nothing stays from one test to the next, but where a shop stands for all tests of a module: what is
kept of it is taken up again when what a test wrote is taken back. The plan of a shop that many tests begin with is made
once.
"""

import re
from contextlib import contextmanager
from dataclasses import replace
from itertools import count

import pytest
from django.db import connection, transaction

from kits.catalog.caching import revisions
from kits.catalog.models import Revision
from kits.picking.cautions import alike_parts
from kits.planning import queries
from kits.planning.keeping.answers import AnswersBeside
from kits.planning.snapshot import catalog

READS = {"SELECT", "EXPLAIN", "RELEASE", "PRAGMA", "PREPARE", "EXECUTE"}
OF_NO_LIST = re.compile(
    r"^(INSERT( OR IGNORE)? INTO|UPDATE|DELETE FROM) "
    r'"(catalog_(revision|loggedrequest)"|(stock|schedule|service|picking|planning|exchange|people)_)'
)
"""What writes to tables that hold nothing of the lists; these stay then, as the program lets them stay."""
OF_NO_PLAN = re.compile(r'^(INSERT( OR IGNORE)? INTO|UPDATE|DELETE FROM) "django_session"')
OF_PEOPLE = re.compile(r'^(INSERT( OR IGNORE)? INTO|UPDATE|DELETE FROM) "(people|auth|django_admin)_')
"""What writes of people alone: no plan and no list knows any, and only what was read for pages may name them."""


@contextmanager
def taken_back():
    """Take back what is done inside, as if it were the transaction of a test."""
    atomic = transaction.atomic()
    atomic._from_testcase = True
    with atomic:
        yield
        transaction.set_rollback(True)


class SeenConnection:
    """The connection as it is asked whether something may be kept: the transaction of the test itself is none."""

    def __init__(self):
        self._numbers, self._saved, self._people = count(1), {}, 0
        self._note_write("")
        self._begun = self._written

    @property
    def in_atomic_block(self):
        return not all(block._from_testcase for block in connection.atomic_blocks)

    @property
    def nothing_was_written(self):
        """Whether all that the tables hold is what every test finds there, taken back at its end."""
        return self._written == self._begun and connection.in_atomic_block and not self.in_atomic_block

    def watch(self, execute, sql, params, many, context):
        """Forget what was kept before anything is written, and take it up again where that is taken back."""
        said = str(sql).lstrip("(")  # PostgreSQL's parts of a union stand in brackets
        word, _, rest = said.partition(" ")
        if word == "SAVEPOINT":
            self._saved[rest] = self._written, self._people, _kept()
        elif word == "ROLLBACK":
            written, people, kept = self._saved.get(said.split()[-1], (None, None, FORGOTTEN))
            if written != self._written:
                self._written = next(self._numbers) if written is None else written
                _keep(kept)
            elif people != self._people:
                self._note_people(people)
        elif OF_PEOPLE.match(said):
            self._note_people(next(self._numbers))
        elif word not in READS and not OF_NO_PLAN.match(said):
            self._note_write(said)
        return execute(sql, params, many, context)

    def _note_people(self, number):
        self._people = number
        plan, lists, catalogs, _, alike = _kept()
        _keep((plan, lists, catalogs, {}, alike))

    def _note_write(self, said):
        self._written = next(self._numbers)
        plan, lists, catalogs, _, alike = _kept()
        # The next plan is made after this one, as on a site; nobody is shown this one, whose marks may be those of now.
        overtaken = plan and replace(plan, asked=None)
        _keep((overtaken, lists, catalogs, {}, alike) if OF_NO_LIST.match(said) else FORGOTTEN)


@contextmanager
def keeping_plans():
    """Keep plans in the transaction of a test, and forget them at its end; within another such, at the end of that."""
    if isinstance(revisions.connection, SeenConnection):
        yield
        _forget_answers()
        return
    seen = SeenConnection()
    connection.execute_wrappers.insert(0, seen.watch)  # the last ones come and go
    try:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(revisions, "connection", seen)
            yield
    finally:
        connection.execute_wrappers.remove(seen.watch)
        forget_plans()


FORGOTTEN = None, None, {}, {}, None
_of_shops = {}


def load_planned(name, load):
    """Load a shop; where plans are kept and nothing else is there, its plan is kept too, made once for all tests."""
    seen = revisions.connection
    alone = isinstance(seen, SeenConnection) and seen.nothing_was_written
    load()
    if not alone:
        return
    Revision.objects.update(mark=f"{name} as it is loaded")
    if name not in _of_shops:
        queries.plan_now()
        plan, lists, catalogs, *_ = _kept()
        _of_shops[name] = plan, lists, catalogs, {}, None
    _keep(_of_shops[name])
    _forget_answers()


def forget_plans():
    """Let the next page be planned from nothing."""
    _keep(FORGOTTEN)
    _forget_answers()


def _forget_answers():
    """What was asked of a plan: a test may have asked it of a program that it had changed."""
    queries._plans._answers = AnswersBeside()


def _kept():
    """What is kept: plan, compiled lists, catalog, what is kept until anything is written, parts that look alike."""
    plans = queries._plans
    return plans._last, plans._lists, dict(catalog._kept), dict(revisions._kept), alike_parts._kept


def _keep(kept):
    plans = queries._plans
    plans._last, plans._lists, catalogs, answers, alike_parts._kept = kept
    for place, held in ((catalog._kept, catalogs), (revisions._kept, answers)):
        place.clear()
        place.update(held)
