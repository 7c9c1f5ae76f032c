"""How far a job has come, step by step, as a list."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from kits.people.names import name_of
from kits.schedule.models import Job, JobStep
from kits.schedule.stages import TO_BUILD
from kits.schedule.words import Stage


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step. ``says`` is what was tested, or why it was taken although something was open, or back."""

    at: datetime
    by: str
    before: str
    after: str
    says: str
    open_then: str


def steps_of(job: Job) -> list[StepRow]:
    """Return the steps of a job, the latest first; one statement."""
    return [_row(step) for step in JobStep.objects.filter(job=job).select_related("by")]


def closing_of(job: Job) -> StepRow | None:
    """Return the latest step that closed the parts of a job, None where a list brought it in; one statement."""
    step = JobStep.objects.filter(job=job, before__in=TO_BUILD, after=Stage.BUILT).select_related("by").first()
    return None if step is None else _row(step)


def _row(step: JobStep) -> StepRow:
    return StepRow(
        at=step.at,
        by=name_of(step.by),
        before=step.get_before_display().lower(),
        after=step.get_after_display().lower(),
        says=step.says,
        open_then=step.open_then,
    )
