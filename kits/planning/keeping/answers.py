"""What was asked of a plan and takes long, kept beside the plan that it belongs to."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from threading import Lock, RLock
from typing import Any, TypeVar

from bom.plan import Plan

Answer = TypeVar("Answer")

FORGOTTEN_SECONDS = 10
"""How long the answers of a plan are kept that nobody asks about any more; a page asks several times."""


class _Beside:
    """The answers of one plan; each is worked out by one thread while the others wait for it."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.answers: dict[str, Any] = {}
        self.asked_at = time.monotonic()
        self._locks: dict[str, AbstractContextManager[bool]] = {}

    def answer(self, name: str, work: Callable[[], Answer]) -> Answer:
        """The answer of this name."""
        if name not in self.answers:
            with self._locks.setdefault(name, RLock()):
                if name not in self.answers:
                    self.answers[name] = work()
        found: Answer = self.answers[name]
        return found


class AnswersBeside:
    """The answers of the plans that are being asked: of the newest, of one tried beside it, of the one before."""

    MOST = 3

    def __init__(self) -> None:
        self._lock = Lock()
        self._plans: list[_Beside] = []

    def of(self, plan: Plan, name: str, work: Callable[[], Answer]) -> Answer:
        """Return an answer, worked out once for each plan."""
        return self._beside(plan).answer(name, work)

    def _beside(self, plan: Plan) -> _Beside:
        now = time.monotonic()
        with self._lock:
            found = next((one for one in self._plans if one.plan is plan), None) or _Beside(plan)
            found.asked_at = now
            others = [one for one in self._plans if one is not found and now - one.asked_at < FORGOTTEN_SECONDS]
            self._plans = [*others[1 - self.MOST :], found]
        return found
