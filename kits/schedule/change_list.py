"""What was changed of a job by hand, as a list."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeVar

from kits.catalog.days.words import in_full
from kits.people.names import name_of
from kits.schedule.models import Batch, Job, JobChange
from kits.schedule.words import Stage

Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """One change of a job: ``moved`` is the day before and after, or nothing, and so are the others."""

    job: str
    at: datetime
    by: str
    why: str
    moved: tuple[date, date] | None
    turns: tuple[int, int] | None
    scopes: tuple[str, str] | None
    pumps: tuple[str, str] | None
    counts: tuple[int, int] | None
    fitted: tuple[str, str] | None
    batches: tuple[str, str] | None
    stages: tuple[str, str] | None
    serials: tuple[str, str] | None
    customers: tuple[str, str] | None
    given_up: bool

    @property
    def says(self) -> tuple[str, ...]:
        """What is another now, each with what it was before."""
        pairs: tuple[tuple[str, tuple[object, object] | None, str], ...] = (
            ("{}", self.stages, ""),
            ("built {}", self.moved and (in_full(self.moved[0]), in_full(self.moved[1])), ""),
            ("priority {}", self.turns, ""),
            ("{}", self.batches, "no batch"),
            ("{}", self.scopes, ""),
            ("pump {}", self.pumps, ""),
            ("{} pump" if self.counts and self.counts[1] == 1 else "{} pumps", self.counts, ""),
            ("{}", self.fitted, "as listed"),
            ("serial {}", self.serials, "none"),
            ("for {}", self.customers, "nobody"),
        )
        changed = [f"{says.format(pair[1] or no)}, before {pair[0] or no}" for says, pair, no in pairs if pair]
        return ("given up", *changed) if self.given_up else tuple(changed)


def changes_of(job: Job) -> list[ChangeRow]:
    """Return what was changed of a job, the latest first; one statement."""
    return list(_rows(JobChange.objects.filter(job=job).select_related("by", "job")))


def changes_in(batch: Batch) -> list[ChangeRow]:
    """Return the changes of the jobs of a batch, the latest first; one statement."""
    return list(_rows(JobChange.objects.filter(job__batch=batch).select_related("by", "job")))


def latest_changes(jobs: Collection[str]) -> dict[str, str]:
    """Return the latest change of what each of some jobs takes, in words: who made it and why; one statement."""
    rows = JobChange.objects.filter(job__job__in=jobs).order_by("pk").select_related("job", "by")
    return {row.job.job: f"{says}: {row.why}" for row in rows if (says := _changed_says(row))}


def _changed_says(row: JobChange) -> str:
    who = f" by {name_of(row.by)}" if row.by else ""
    if row.given_up:
        return f"given up{who}"
    pairs: tuple[tuple[str, object, object], ...] = (
        ("pump", row.pump_before, row.pump),
        ("scope", row.scope_before, row.scope),
        ("quantity", row.quantity_before, row.quantity),
        ("option", row.option_before, row.option),
    )
    said = [f"{what} {after or 'as listed'}, before {was or 'as listed'}" for what, was, after in pairs if was != after]
    return f"changed{who}, {'; '.join(said)}" if said else ""


def _rows(changes: Iterable[JobChange]) -> Iterator[ChangeRow]:
    for change in changes:
        yield ChangeRow(
            job=change.job.job,
            at=change.at,
            by=str(change.by or ""),
            why=change.why,
            moved=_pair(change.build_on_before, change.build_on),
            turns=_pair(change.priority_before, change.priority),
            scopes=_pair(change.scope_before, change.scope),
            pumps=_pair(change.pump_before, change.pump),
            counts=_pair(change.quantity_before, change.quantity),
            fitted=_pair(change.option_before, change.option),
            batches=_pair(change.batch_before, change.batch),
            stages=None if change.given_up else _pair(_stage_says(change.stage_before), _stage_says(change.stage)),
            serials=_pair(change.serial_before, change.serial),
            customers=_pair(change.customer_before, change.customer),
            given_up=change.given_up,
        )


def _stage_says(stage: str) -> str:
    return Stage(stage).label.lower() if stage else ""


def _pair(before: Value, after: Value) -> tuple[Value, Value] | None:
    return None if before == after else (before, after)
