"""What was changed of a job by hand, as a list."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeVar

from kits.schedule.models import Job, JobChange

Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """One change: ``moved`` is the day before and after, or nothing, and so are the others."""

    at: datetime
    by: str
    why: str
    moved: tuple[date, date] | None
    turns: tuple[int, int] | None
    scopes: tuple[str, str] | None
    given_up: bool


def changes_of(job: Job) -> list[ChangeRow]:
    """Return what was changed of a job, the latest first; one statement."""
    return list(_rows(job))


def _rows(job: Job) -> Iterator[ChangeRow]:
    for change in JobChange.objects.filter(job=job).select_related("by"):
        yield ChangeRow(
            at=change.at,
            by=str(change.by or ""),
            why=change.why,
            moved=_pair(change.build_on_before, change.build_on),
            turns=_pair(change.priority_before, change.priority),
            scopes=_pair(change.scope_before, change.scope),
            given_up=change.given_up,
        )


def _pair(before: Value, after: Value) -> tuple[Value, Value] | None:
    return None if before == after else (before, after)
