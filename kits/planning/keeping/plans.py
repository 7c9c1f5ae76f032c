"""The plan of what the tables hold: worked out once for each state of them, by whichever web process is asked first.

A process keeps the last plan, and one thread of it works a new one out while the others wait. Where the shop has a
cache server, one process works it out while the others wait for what it puts there. Whoever only reads is shown the
last plan where waiting would be long.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from concurrent.futures import Future, wait
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from hashlib import sha256
from threading import Lock, Thread
from typing import NamedTuple, TypeVar

from django.db import connection
from django.utils import timezone

from bom.errors import BomError
from bom.plan import Plan, plan
from bom.reading import Lists
from bom.values import Catalog
from kits.catalog.caching.revisions import may_keep_under, read_marks
from kits.catalog.caching.shared import CLAIM_SECONDS, Shared
from kits.catalog.queries import read_settings
from kits.catalog.waiting import is_away
from kits.planning.keeping.answers import AnswersBeside
from kits.planning.keeping.begun import BYTES, OLDEST, Begun, BegunAnswers, State, Wrapping
from kits.planning.keeping.parcels import pack, unpack
from kits.planning.snapshot.catalog import read_catalog
from kits.planning.snapshot.shop import stamp_of, take_snapshot

Answer = TypeVar("Answer")
Marks = tuple[str, str]
Asked = tuple[date, int | None]
"""The day that a plan is of, and its staging days where they are not those of the settings."""

PATIENCE_SECONDS = 0.3
"""A plan that is worked out within this is waited for."""
FILE_PATIENCE_SECONDS = 1.0
"""A file that is made within this is waited for."""
LOOK_EVERY_SECONDS = 0.05
TRIES = 3

_log = logging.getLogger(__name__)


class PlanShown(NamedTuple):
    """A plan to be read, and the moment as of which it is where something was written since."""

    plan: Plan
    being_renewed: datetime | None = None


@dataclass
class Kept:
    """A plan with its lists, how many seconds it took to make, and when it was last seen to be that of the tables."""

    plan: Plan
    lists: Lists
    asked: Asked
    took: float
    seen_at: datetime


class Plans:
    """The plans of one process."""

    def __init__(self, shared: Shared) -> None:
        self._shared = shared
        self._making, self._compiling, self._starting = Lock(), Lock(), Lock()
        self._last: Kept | None = None
        self._lists: Lists | None = None
        self._renewal: tuple[Marks, Future[Kept]] | None = None
        self._answers, self._begun = AnswersBeside(), BegunAnswers(shared)

    def now(self, day: date, staging_days: int | None) -> Plan:
        """Return the plan of what the tables hold; it is worked out anew only when something was written since."""
        marks, asked = read_marks(), (day, staging_days)
        # A plan that is kept is of one moment: inside a transaction, too, it is that of the marks that are seen there.
        if (kept := self._kept(marks, asked)) is not None:
            return kept.plan
        if not may_keep_under(*marks):
            return plan(take_snapshot(day, staging_days))
        return self._current(marks, asked).plan

    def to_read(self, day: date) -> PlanShown:
        """Return a plan to be read: the last one where waiting for the next would be long.

        The lists are always those of now: only what was booked, scheduled and found since is missing from it.
        """
        marks, asked, last = read_marks(), (day, None), self._last
        if not may_keep_under(*marks):
            return PlanShown(self.now(day, None))
        if last is None or self._kept(marks, asked) is not None or not _may_be_shown(last, marks, asked):
            return PlanShown(self._current(marks, asked).plan)
        begun, renewal = self._renew(marks, asked)
        wait([renewal], 0 if last.took > PATIENCE_SECONDS else PATIENCE_SECONDS)
        if not renewal.done():
            return PlanShown(last.plan, last.seen_at)
        made = renewal.result()
        # One that was begun for somebody who asked earlier may have missed what was written in between.
        is_of_now = begun == marks or made.plan.shop.stamp == stamp_of(marks)
        return PlanShown(made.plan, None if is_of_now else made.seen_at)

    def lists(self, catalog: Catalog) -> Lists:
        """Return the lists of a catalog, compiled; those of the last one are kept."""
        if not may_keep_under(catalog.revision):
            return Lists.of(catalog)
        with self._compiling:
            if self._lists is None or self._lists.compiled.catalog is not catalog:
                self._lists = Lists.of(catalog)
            return self._lists

    def answer(self, of: Plan, name: str, work: Callable[[], Answer]) -> Answer:
        """Return an answer that takes long, worked out once for each plan and kept until nobody asks for it."""
        return self._answers.of(of, name, work)

    def shared_answer(self, of: Plan, name: str, work: Callable[[], Answer]) -> Answer:
        """The same, worked out by one process for all of them."""
        return self._answers.of(of, name, lambda: self._ask_others(of, name, work))

    def begun_answer(
        self, of: Plan, name: str, work: Callable[[], Answer], patience: float | None, latest: bool
    ) -> Begun[Answer]:
        """The same of what takes seconds: worked out in a thread, while whoever asked may leave and come back."""
        lists = self.lists(of.shop.catalog)
        # The fingerprint knows of the structure alone: prices, leads and names are told apart by their mark.
        state = (of.shop.stamp, of.shop.as_of.isoformat(), f"{of.shop.catalog.revision} {lists.fingerprint}")
        wrapping = Wrapping(partial(pack, lists=lists), partial(unpack, lists=lists))
        return self._begin(state, name, work, PATIENCE_SECONDS if patience is None else patience, latest, wrapping)

    def begun_file(
        self, day: date, name: str, work: Callable[[], bytes], patience: float | None, latest: bool
    ) -> Begun[bytes]:
        """A file of what the tables hold, made in the same way."""
        marks = read_marks()
        state = (stamp_of(marks), day.isoformat(), marks[0])
        waits = FILE_PATIENCE_SECONDS if patience is None else patience
        return self._begin(state, name, work, waits, latest, BYTES)

    def _begin(
        self, state: State, name: str, work: Callable[[], Answer], patience: float, latest: bool, wrapping: Wrapping
    ) -> Begun[Answer]:
        if _must_be_waited_for():
            done: Begun[Answer] = Begun(state, timezone.now())
            done.end(work())
            return done
        oldest = timedelta(0) if latest else OLDEST
        return self._begun.ask(state, name, work, patience=patience, oldest=oldest, wrapping=wrapping)

    def _ask_others(self, of: Plan, name: str, work: Callable[[], Answer]) -> Answer:
        last = self._last
        # A plan that was only tried, or has been overtaken, is nobody else's business.
        if last is None or last.plan is not of or not self._shared:
            return work()
        name = f"beside.{sha256(name.encode()).hexdigest()[:24]}"
        lists, state = last.lists, _state(of.shop.stamp, last.asked, last.lists)
        until = time.monotonic() + CLAIM_SECONDS
        while (sign := self._shared.claim(name, state)) is None and time.monotonic() < until:
            time.sleep(LOOK_EVERY_SECONDS)
        try:
            if (content := self._shared.get(name, state)) is not None:
                found: Answer = unpack(content, lists)
                return found
            made = work()
            self._shared.put(name, state, pack(made, lists))
            return made
        finally:
            self._shared.release(name, state, sign)

    def _kept(self, marks: Marks, asked: Asked) -> Kept | None:
        last = self._last
        if last is None or last.asked != asked or last.plan.shop.stamp != stamp_of(marks):
            return None
        last.seen_at = timezone.now()
        return last

    def _current(self, marks: Marks, asked: Asked) -> Kept:
        if (kept := self._kept(marks, asked)) is not None:
            return kept
        waited = not self._making.acquire(blocking=False)
        if waited:
            self._making.acquire()
        try:
            # Who waited asks for what the tables hold by now: what he asked for may have been overtaken twice.
            kept = self._kept(read_marks() if waited else marks, asked)
            if kept is None:
                shares = bool(self._shared) and asked[1] is None
                self._last = kept = self._fetch_or_make(asked) if shares else self._make(asked)
            return kept
        finally:
            self._making.release()

    def _make(self, asked: Asked) -> Kept:
        began = time.perf_counter()
        shop, seen_at = take_snapshot(*asked), timezone.now()
        lists, last = self.lists(shop.catalog), self._last
        made = plan(shop, lists.compiled, last.plan if last else None)
        return Kept(made, lists, asked, time.perf_counter() - began, seen_at)

    def _fetch_or_make(self, asked: Asked) -> Kept:
        """Take what another process worked out, wait for what it is working out, or work it out for all of them."""
        until = time.monotonic() + CLAIM_SECONDS
        while True:
            # Read anew each time: whoever works at it takes up what was written meanwhile.
            marks = read_marks()
            lists = self._lists_of(marks)
            if lists is not None:
                state, name = _state(stamp_of(marks), asked, lists), f"plan.{asked[0]}"
                if (fetched := self._fetch(name, state, asked, lists)) is not None:
                    return fetched
                if (sign := self._shared.claim(name, state)) is not None or time.monotonic() > until:
                    break
            time.sleep(LOOK_EVERY_SECONDS)
        try:
            # It may have been put there just before nobody was at it any more.
            made = self._fetch(name, state, asked, lists)
            if made is None:
                made = self._make(asked)
                # Nobody here has to wait until it is packed.
                Thread(target=self._put, args=(made, name, state, sign), name="put plan").start()
                sign = None
            return made
        finally:
            self._shared.release(name, state, sign)

    def _lists_of(self, marks: Marks) -> Lists | None:
        """The lists with this mark; None where they were written to while they were read."""
        catalog = read_catalog(marks[0], read_settings().currency)
        return self.lists(catalog) if read_marks()[0] == marks[0] else None

    def _fetch(self, name: str, state: str, asked: Asked, lists: Lists) -> Kept | None:
        content = self._shared.get(name, state)
        if content is None:
            return None
        found, took = unpack(content, lists)
        return Kept(found, lists, asked, took, timezone.now())

    def _put(self, made: Kept, name: str, claimed: str, sign: bytes | None) -> None:
        try:
            self._shared.put(name, _state(made.plan.shop.stamp, made.asked, made.lists), _packed(made))
        finally:
            self._shared.release(name, claimed, sign)

    def _renew(self, marks: Marks, asked: Asked) -> tuple[Marks, Future[Kept]]:
        """The renewal that is going on, or else a new one in a thread of its own; and the marks it was begun at."""
        with self._starting:
            running = self._renewal
            if running is not None and (running[0] == marks or not running[1].done()):
                return running
            begun: tuple[Marks, Future[Kept]] = (marks, Future())
            self._renewal = begun
        Thread(target=self._renew_now, args=(*begun, asked), name="renew plan").start()
        return begun

    def _renew_now(self, marks: Marks, future: Future[Kept], asked: Asked) -> None:
        try:
            future.set_result(self._current(marks, asked))
        except BomError as error:  # no plan can be made of these tables, and whoever asks is told so
            future.set_exception(error)
        except Exception as error:
            if is_away(error):
                _log.error("The database is away (%s): the plan was not renewed.", " ".join(str(error).split()))
            else:
                _log.exception("The plan could not be renewed.")
            self._renewal = None  # whoever asks next tries again
            future.set_exception(error)
        finally:
            connection.close()


def _must_be_waited_for() -> bool:
    # A thread has a connection of its own, which sees nothing of a transaction that is going on.
    return connection.in_atomic_block or not any(read_marks())


def _may_be_shown(last: Kept, marks: Marks, asked: Asked) -> bool:
    same_lists = last.plan.shop.catalog.revision == marks[0]
    return last.asked == asked and same_lists and timezone.now() - last.seen_at < OLDEST


def _state(stamp: str, asked: Asked, lists: Lists) -> str:
    return f"{stamp}|{asked[0]}|{lists.fingerprint}"


def _packed(made: Kept) -> bytes:
    """A plan as bytes. What it remembers of questions grows while others ask them, and may not while it is packed."""
    for _ in range(TRIES - 1):
        try:
            return pack((made.plan, made.took), made.lists)
        except RuntimeError:
            continue
    return pack((made.plan, made.took), made.lists)
