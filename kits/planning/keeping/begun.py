"""What is asked of a plan and takes seconds: worked out in a thread beside the request, kept for whoever comes back.

While somebody posts without end, every plan is soon overtaken. So one answer is worked out at a time, of the plan that
it was begun with, and it is shown for some minutes with the moment as of which it is.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from concurrent.futures import Future, wait
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from threading import Lock, Thread
from typing import Any, Generic, TypeVar

from django.utils import timezone

from bom.errors import BomError
from bom.plan import Plan
from kits.catalog.caching.progress import Progress, reporting_to

Answer = TypeVar("Answer")
State = tuple[str, date, str]
"""What tells a plan from another: the stamp of the tables, the day, the mark of the lists."""

_log = logging.getLogger(__name__)


@dataclass
class Begun(Generic[Answer]):
    """An answer that was begun: of which plan, when, how far it is; ``of_now`` says whether that plan still holds."""

    state: State
    began_at: datetime
    progress: Progress = field(default_factory=lambda: Progress("Begun"))
    future: Future[Answer] = field(default_factory=Future)
    of_now: bool = True

    @property
    def answer(self) -> Answer | None:
        """The answer; None while it is worked out."""
        return self.future.result() if self.future.done() else None


class BegunAnswers:
    """The last answer of each name that this process began."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._begun: dict[str, Begun[Any]] = {}

    def ask(
        self, of: Plan, name: str, work: Callable[[], Answer], *, patience: float, oldest: timedelta
    ) -> Begun[Answer]:
        """The answer that is being worked out, or was within ``oldest``; else a new one is begun.

        It is waited for so many seconds. What could not be worked out is told once; whoever asks next tries again.
        """
        with self._lock:
            begun = self._begun.get(name)
            if begun is None or not _holds(begun, of, oldest):
                begun = Begun(_state(of), timezone.now())
                Thread(target=self._run, args=(name, begun, work), name=f"work out {name}", daemon=True).start()
                self._begun[name] = begun
        wait([begun.future], patience)
        if _failed(begun):
            with self._lock:
                if self._begun.get(name) is begun:
                    del self._begun[name]
        begun.of_now = begun.state == _state(of)
        return begun

    def _run(self, name: str, begun: Begun[Answer], work: Callable[[], Answer]) -> None:
        def note(progress: Progress) -> None:
            begun.progress = progress

        try:
            with reporting_to(note):
                begun.future.set_result(work())
        except Exception as error:
            if not isinstance(error, BomError):
                _log.exception("What was asked of the plan could not be worked out: %s.", name)
            begun.future.set_exception(error)


def _state(of: Plan) -> State:
    return of.shop.stamp, of.shop.as_of, of.shop.catalog.revision


def _failed(begun: Begun[Any]) -> bool:
    return begun.future.done() and begun.future.exception() is not None


def _holds(begun: Begun[Any], of: Plan, oldest: timedelta) -> bool:
    if not begun.future.done() or begun.state == _state(of):
        return True
    return not _failed(begun) and begun.state[1:] == _state(of)[1:] and timezone.now() - begun.began_at < oldest
