"""Every job as one row: what it is, for whom, when, and how it stands."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.reading import Reading
from bom.values import ASKING_STAGES
from kits.catalog.folding import fold
from kits.planning.queries import reading_of
from kits.planning.words.states import State, job_state
from kits.schedule.models import Job
from kits.schedule.stages import is_done
from kits.schedule.words import Stage

OPEN_STAGES = (*ASKING_STAGES, Stage.HELD.value)
"""Stages of jobs that somebody still has to plan."""


@dataclass(frozen=True, slots=True)
class JobRow:
    """One job; ``key`` names its row, ``state`` is None where it asks for no parts."""

    key: int
    job: str
    pump: str
    scope: str
    serial: str
    customer: str
    batch: str
    build_on: date
    priority: int
    quantity: int
    stage: str
    because: str
    done: bool
    state: State | None

    @property
    def weekday(self) -> str:
        """The day of the week of the build."""
        return f"{self.build_on:%a}"

    @property
    def state_says(self) -> str:
        """How the job stands, in words."""
        return self.state.says if self.state else f"{self.stage}: {self.because}" if self.because else self.stage


def job_list(plan: Plan, batch: str = "", *, past: bool = False) -> list[JobRow]:
    """The jobs that are still to be planned, or (``past``) all of them, in the order of their days; one statement."""
    reading = reading_of(plan)
    jobs = Job.objects.select_related("pump", "batch").order_by("build_on", "priority", "folded")
    if not past:
        jobs = jobs.filter(stage__in=OPEN_STAGES)
    if batch:
        jobs = jobs.filter(batch__folded=fold(batch))
    return [job_row(reading, job) for job in jobs]


def job_row(reading: Reading, job: Job) -> JobRow:
    """One job with its state in the words of the grid."""
    asker = reading.jobs.get(job.job)
    return JobRow(
        key=job.pk,
        job=job.job,
        pump=job.pump.part_number,
        scope=job.scope,
        serial=job.serial,
        customer=job.customer,
        batch=job.batch.name if job.batch else "",
        build_on=job.build_on,
        priority=job.priority,
        quantity=job.quantity,
        stage=job.get_stage_display().lower(),
        because=job.held_because,
        done=is_done(job.stage),
        state=job_state(reading, asker) if asker else None,
    )
