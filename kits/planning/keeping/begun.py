"""What takes seconds: worked out in a thread beside the request, kept some minutes for whoever comes back.

One answer of a name is worked out at a time, of the state of the tables that it was begun with: while somebody posts
without end, every state is soon overtaken, and the answer is shown for some minutes with the moment as of which it is.
Where the shop has a cache server, what one process works out is everybody's: it tells there how far it is and lays the
answer beside that. Whoever finds that it has said nothing for a while, for its process has ended, begins anew.
"""

from __future__ import annotations

import json
import logging
import time
from collections.abc import Callable
from concurrent.futures import Future, wait
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta
from hashlib import sha256
from threading import Lock, Thread
from typing import Any, Generic, NamedTuple, TypeVar

from django.db import connections
from django.utils import timezone

from bom.errors import BomError
from kits.catalog.caching.progress import Progress, reporting_to
from kits.catalog.caching.shared import Shared

Answer = TypeVar("Answer")
State = tuple[str, ...]
"""What tells states of the tables apart: their stamp, then the day and the lists, which no answer outlives."""

OLDEST = timedelta(minutes=5)
"""An answer that was overtaken longer ago than this is shown to nobody."""
KEPT = timedelta(minutes=15)
"""After this an answer is swept up."""
MOST = 12
"""Answers that a process keeps; beyond them the oldest is swept up."""
TOLD = timedelta(seconds=10)
"""So long a failure is told to whoever asks; then it is tried again."""
TOLD_EVERY_SECONDS = 1.0
LOOK_EVERY_SECONDS = 0.1
SILENT = timedelta(seconds=20)
"""Whoever told nothing for so long has ended."""
ANY = ""
_log = logging.getLogger(__name__)


class Wrapping(NamedTuple):
    """How an answer travels to the other processes."""

    wrap: Callable[[Any], bytes]
    unwrap: Callable[[bytes], Any]


BYTES = Wrapping(bytes, bytes)


@dataclass
class Begun(Generic[Answer]):
    """An answer that was begun: of which state, when, how far it is; ``of_now`` says whether that state still holds."""

    state: State
    began_at: datetime
    progress: Progress = field(default_factory=lambda: Progress("Begun"))
    future: Future[Answer] = field(default_factory=Future)
    ended_at: datetime | None = None
    of_now: bool = True

    @property
    def answer(self) -> Answer | None:
        """The answer; None while it is worked out."""
        return self.future.result() if self.future.done() else None

    @property
    def took(self) -> timedelta:
        """How long it was worked at."""
        return (self.ended_at or timezone.now()) - self.began_at

    @property
    def failed(self) -> bool:
        """Whether it could not be worked out."""
        return self.future.done() and self.future.exception() is not None

    def end(self, answer: Answer) -> None:
        """Say that it is worked out."""
        self.ended_at = timezone.now()
        self.future.set_result(answer)

    def fail(self, error: Exception) -> None:
        """Say that it cannot be worked out."""
        self.ended_at = timezone.now()
        self.future.set_exception(error)


class BegunAnswers:
    """The last answer of each name that the processes of the shop began."""

    def __init__(self, shared: Shared) -> None:
        self._told = _Told(shared)
        self._lock = Lock()
        self._begun: dict[str, Begun[Any]] = {}

    def ask(
        self,
        state: State,
        name: str,
        work: Callable[[], Answer],
        *,
        patience: float,
        oldest: timedelta = OLDEST,
        wrapping: Wrapping = BYTES,
    ) -> Begun[Answer]:
        """The answer that is being worked out, or was within ``oldest``; else a new one is begun.

        It is waited for so many seconds, and one that took no longer is not shown once it was overtaken. What could
        not be worked out is told for some seconds; whoever asks then tries again.
        """

        def holds(begun: Begun[Any]) -> bool:
            if not begun.future.done():
                return True
            if begun.failed:
                return begun.state == state and begun.ended_at is not None and timezone.now() - begun.ended_at < TOLD
            if begun.state == state:
                return True
            is_old = timezone.now() - (begun.ended_at or begun.began_at) >= oldest
            return begun.state[1:] == state[1:] and not is_old and begun.took.total_seconds() > patience

        until = time.monotonic() + patience
        begun: Begun[Any] = self._look(state, name, work, wrapping, holds)
        while self._begun.get(name) is not begun and not begun.future.done() and time.monotonic() < until:
            time.sleep(LOOK_EVERY_SECONDS)  # another process is at it, and tells when it is done
            begun = self._look(state, name, work, wrapping, holds)
        wait([begun.future], max(0.0, until - time.monotonic()))
        if begun.future.done() and not holds(begun):  # it was begun for somebody else, before the last write
            begun = self._look(state, name, work, wrapping, holds)
            wait([begun.future], max(0.0, until - time.monotonic()))
        return replace(begun, of_now=begun.state == state)

    def _look(
        self, state: State, name: str, work: Callable[[], Any], wrapping: Wrapping, holds: Callable[[Begun[Any]], bool]
    ) -> Begun[Any]:
        """What is being worked out or still holds, here or in another process; else it is begun."""
        with self._lock:
            self._sweep()
            begun = self._begun.get(name)
            if begun is not None and holds(begun):
                return begun
            begun = self._told.find(name, wrapping, holds) or self._begin(state, name, work, wrapping, holds)
            if begun.future.done():
                self._begun[name] = begun
            return begun

    def _begin(
        self, state: State, name: str, work: Callable[[], Any], wrapping: Wrapping, holds: Callable[[Begun[Any]], bool]
    ) -> Begun[Any]:
        """Begin it, unless another process did so this very moment."""
        sign = self._told.claim(name)
        try:
            found = self._told.find(name, wrapping, holds)
            if found is not None or sign is None:
                return found or Begun(("begun elsewhere",), timezone.now())
            begun: Begun[Any] = Begun(state, timezone.now())
            self._told.tell(name, begun)
        finally:
            self._told.release(name, sign)
        Thread(target=self._run, args=(name, begun, work, wrapping), name=f"work out {name}", daemon=True).start()
        self._begun[name] = begun
        return begun

    def _run(self, name: str, begun: Begun[Any], work: Callable[[], Any], wrapping: Wrapping) -> None:
        def note(progress: Progress) -> None:
            begun.progress = progress

        telling = Thread(target=self._keep_telling, args=(name, begun), name=f"tell of {name}", daemon=True)
        try:
            telling.start()
            with reporting_to(note):
                answer = work()
            self._told.lay_down(name, begun, lambda: wrapping.wrap(answer))
            begun.end(answer)
        except Exception as error:
            if not isinstance(error, BomError):
                _log.exception("What was asked for could not be worked out: %s.", name)
            begun.fail(error)
        finally:
            if telling.ident is not None:
                telling.join()
            self._told.tell(name, begun)
            connections.close_all()

    def _keep_telling(self, name: str, begun: Begun[Any]) -> None:
        while not begun.future.done():
            self._told.tell(name, begun)
            wait([begun.future], TOLD_EVERY_SECONDS)

    def _sweep(self) -> None:
        """Forget what ended a while ago, and of more than can be kept what ended first."""
        ended = sorted(
            ((one.ended_at, name) for name, one in self._begun.items() if one.ended_at), key=lambda row: row[0]
        )
        old = timezone.now() - KEPT
        too_many = len(self._begun) - MOST
        for place, (ended_at, name) in enumerate(ended):
            if ended_at < old or place < too_many:
                del self._begun[name]


class _Told:
    """What the processes of a shop tell each other of the answers that they began; nothing without a cache server."""

    def __init__(self, shared: Shared) -> None:
        self._shared = shared

    def tell(self, name: str, begun: Begun[Any]) -> None:
        """Say how far it is; what failed is nobody else's business."""
        if begun.failed:
            self._shared.put(_key("told", name), ANY, b"null")
            return
        told = {
            "state": begun.state,
            "began_at": begun.began_at.isoformat(),
            "ended_at": begun.ended_at.isoformat() if begun.ended_at else "",
            "told_at": timezone.now().isoformat(),
            "progress": asdict(begun.progress),
        }
        self._shared.put(_key("told", name), ANY, json.dumps(told).encode())

    def lay_down(self, name: str, begun: Begun[Any], content: Callable[[], bytes]) -> None:
        """Put the answer where the others find it."""
        if self._shared:
            self._shared.put(_key("answer", name), _of(begun), content(), int(KEPT.total_seconds()))

    def claim(self, name: str) -> bytes | None:
        """Say that this process begins, and return the sign of it; None where another one just does."""
        return self._shared.claim(_key("told", name), ANY)

    def release(self, name: str, sign: bytes | None) -> None:
        """Say that it was begun, or was not."""
        self._shared.release(_key("told", name), ANY, sign)

    def find(self, name: str, wrapping: Wrapping, holds: Callable[[Begun[Any]], bool]) -> Begun[Any] | None:
        """What another process is at, or has done and still holds; None where it ended without, or never began."""
        told = json.loads(self._shared.get(_key("told", name), ANY) or b"null")
        if told is None:
            return None
        began_at, told_at = (datetime.fromisoformat(told[which]) for which in ("began_at", "told_at"))
        begun: Begun[Any] = Begun(tuple(told["state"]), began_at, Progress(**told["progress"]))
        if not told["ended_at"]:
            return begun if timezone.now() - told_at < SILENT else None
        content = self._shared.get(_key("answer", name), _of(begun))
        if content is None:
            return None
        begun.future.set_result(wrapping.unwrap(content))
        begun.ended_at = datetime.fromisoformat(told["ended_at"])
        return begun if holds(begun) else None


def _key(kind: str, name: str) -> str:
    return f"begun.{kind}.{sha256(name.encode()).hexdigest()[:24]}"


def _of(begun: Begun[Any]) -> str:
    return f"{'|'.join(begun.state)}|{begun.began_at.isoformat()}"
