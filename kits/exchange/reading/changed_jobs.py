"""Several jobs changed at once: laid out as rows of the sheet Schedule, and checked as any list is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

import bom.values
from bom.structure.calendar import ShopCalendar
from kits.exchange.columns.work_layouts import SCHEDULE
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.reading.pasted import written
from kits.schedule.models import Job
from kits.schedule.words import Stage

COLUMNS = ("job", "pump", "scope", "build_date", "batch", "priority", "stage", "held_because")


@dataclass(frozen=True, slots=True)
class JobsChange:
    """What is to become of several jobs; what is None or empty stays as it is.

    ``move_days`` counts working days, back where it is below nought. ``because`` is why jobs are held.
    """

    move_days: int = 0
    move_to: date | None = None
    batch: str = ""
    priority: int | None = None
    stage: str = ""
    because: str = ""

    @property
    def changes_something(self) -> bool:
        """Whether there is anything to change."""
        return self != JobsChange()

    def of(self, job: bom.values.Job, calendar: ShopCalendar) -> bom.values.Job:
        """One job as it is to be."""
        return replace(
            job,
            build_on=self.move_to or moved(job.build_on, self.move_days, calendar),
            batch=self.batch or job.batch,
            priority=self.priority or job.priority,
            stage=self.stage or job.stage,
        )


def moved(on: date, days: int, calendar: ShopCalendar) -> date:
    """A day so many working days on, or back; a day on which the shop is closed stays one if it is not moved."""
    if not days:
        return on
    return calendar.forward(on, days) if days > 0 else calendar.back(on, -days)


def changed_file(change: JobsChange, planned: Iterable[bom.values.Job], calendar: ShopCalendar) -> SheetFile:
    """The changed jobs as the text file of the sheet Schedule; one statement."""
    wanted = [change.of(job, calendar) for job in planned]
    held = dict(Job.objects.filter(job__in=[job.job for job in wanted]).values_list("job", "held_because"))
    rows = [
        [
            job.job,
            job.pump,
            job.scope,
            job.build_on.isoformat(),
            job.batch,
            str(job.priority),
            job.stage,
            (change.because or held[job.job]) if job.stage == Stage.HELD else "",
        ]
        for job in wanted
    ]
    return written(SCHEDULE, [list(COLUMNS), *rows])
