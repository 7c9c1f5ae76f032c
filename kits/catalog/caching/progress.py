"""How far long work has come, reported to whoever listens: a command, or the page that shows it."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TypeVar

ROWS_BETWEEN = 2000
Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Progress:
    """What is being done, and how many rows of it are done; ``total`` is 0 while nobody knows how many there are."""

    step: str
    done: int = 0
    total: int = 0

    @property
    def says(self) -> str:
        """The progress in words, such as ``Reading Items: 4 000 of 100 000 rows``."""
        if not self.done:
            return self.step
        of_all = f" of {group_digits(self.total)}" if self.total else ""
        return f"{self.step}: {group_digits(self.done)}{of_all} rows"


Listener = Callable[[Progress], None]


def _ignore(progress: Progress) -> None:
    """Report to nobody."""


# A variable of the context, not an argument: a load passes through a dozen functions that have no other use for it,
# and two loads in two threads must not report to each other's listener.
_listener: ContextVar[Listener] = ContextVar("listener", default=_ignore)


@contextmanager
def reporting_to(listener: Listener) -> Iterator[None]:
    """Report what happens inside to this listener."""
    before = _listener.set(listener)
    try:
        yield
    finally:
        _listener.reset(before)


def report(step: str, done: int = 0, total: int = 0) -> None:
    """Report what is done now."""
    _listener.get()(Progress(step, done, total))


def report_rows(step: str, rows: Iterable[Row], total: int) -> Iterator[Row]:
    """Hand rows through, and report every so often how many there were."""
    report(step, 0, total)
    for count, row in enumerate(rows, start=1):
        yield row
        if count % ROWS_BETWEEN == 0:
            report(step, count, total)


class SpacedOut:
    """Says in a line how far it is, but not more often than every few seconds, and nothing about short work."""

    def __init__(self, say: Callable[[str], object], seconds: float) -> None:
        self._say, self._seconds = say, seconds
        self._last = time.monotonic()

    def __call__(self, progress: Progress) -> None:
        now = time.monotonic()
        if now - self._last >= self._seconds:
            self._last = now
            self._say(progress.says)


def group_digits(number: int) -> str:
    """A count as it is read on pages: ``20 000``."""
    return f"{number:,}".replace(",", " ")
