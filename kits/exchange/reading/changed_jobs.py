"""Jobs changed on a page: laid out as rows of the sheet Schedule, and checked as any list is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

import bom.values
from bom.structure.calendar import ShopCalendar
from kits.exchange.columns.work_layouts import SCHEDULE
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.reading.pasted import write_rows
from kits.schedule.models import Job
from kits.schedule.words import Stage


@dataclass(frozen=True, slots=True)
class JobsChange:
    """What is to become of several jobs; what is None or empty stays as it is.

    ``move_days`` counts working days, back where it is below nought.
    """

    move_days: int = 0
    move_to: date | None = None
    batch: str = ""
    priority: int | None = None
    stage: str = ""
    scope: str = ""
    quantity: int | None = None

    @property
    def changes_something(self) -> bool:
        """Whether there is anything to change."""
        return self != JobsChange()

    def of(self, job: bom.values.Job, calendar: ShopCalendar) -> bom.values.Job:
        """One job as it is to be."""
        return rebuilt_on(
            replace(
                job,
                batch=self.batch or job.batch,
                priority=self.priority or job.priority,
                stage=self.stage or job.stage,
                scope=self.scope or job.scope,
                quantity=self.quantity or job.quantity,
            ),
            self.move_to or move_day(job.build_on, self.move_days, calendar),
        )


def rebuilt_on(job: bom.values.Job, on: date) -> bom.values.Job:
    """The job built on another day; nobody strips a pump after it has been built."""
    strip_on = min(job.strip_on, on) if job.strip_on and on != job.build_on else job.strip_on
    return replace(job, build_on=on, strip_on=strip_on)


def move_day(on: date, days: int, calendar: ShopCalendar) -> date:
    """A day so many working days on, or back; a day on which the shop is closed stays one if it is not moved."""
    if not days:
        return on
    return calendar.forward(on, days) if days > 0 else calendar.back(on, -days)


def changed_file(wanted: Iterable[bom.values.Job], why: str) -> SheetFile:
    """Jobs as they are to be, as the text file of the sheet Schedule; ``why`` stands beside those newly held."""
    jobs = list(wanted)
    numbers = [job.job for job in jobs]
    stages = {job: (stage, held) for job, stage, held in _stages(numbers)}
    rows = []
    for job in jobs:
        stage, held = stages[job.job]
        because = (held if stage == Stage.HELD else why) if job.stage == Stage.HELD else ""
        rows.append(
            {
                "job": job.job,
                "pump": job.pump,
                "scope": job.scope,
                "build_date": job.build_on.isoformat(),
                "quantity": str(job.quantity),
                "batch": job.batch,
                "priority": str(job.priority),
                "serial": job.serial,
                "customer": job.customer,
                "strip_date": job.strip_on.isoformat() if job.strip_on else "",
                "stage": job.stage,
                "held_because": because,
            }
        )
    return write_rows(SCHEDULE, [list(rows[0]), *(list(row.values()) for row in rows)])


def _stages(numbers: Iterable[str]) -> Iterable[tuple[str, str, str]]:
    return Job.objects.filter(job__in=numbers).values_list("job", "stage", "held_because")
