"""The schedule: every batch with what its jobs come to, and every job with its state."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.core.paginator import Page, Paginator

from bom.plan import Plan
from bom.reading import Asker, Reading
from bom.values import ASKING_STAGES
from kits.catalog.folding import fold
from kits.planning.queries import reading_of
from kits.planning.sheets.jobs.grid import Grid, job_grid
from kits.planning.words.states import plural
from kits.schedule.models import Batch, Job
from kits.schedule.words import Stage

JOBS_A_PAGE = 26
FIRST_JOBS = 8
"""Of each batch, where all of them are more than one page holds."""
MOST_QUIET = 100
MARKS = ("ready", "waiting", "late", "short")


@dataclass(frozen=True, slots=True)
class BatchRow:
    """One batch: its jobs that ask for parts, by state; ``name`` is empty for jobs without a batch."""

    name: str
    grid: Grid
    pumps: int
    states: tuple[tuple[str, int], ...]
    leaning: int
    more: int

    @property
    def title(self) -> str:
        """What the batch is called."""
        return self.name or "Without a batch"


@dataclass(frozen=True, slots=True)
class QuietJob:
    """A job that asks for no parts now."""

    job: str
    pump: str
    scope: str
    batch: str
    build_on: date
    stage: str
    because: str


@dataclass(frozen=True, slots=True)
class ScheduleSheet:
    """What stands on one page of the schedule; ``names`` are all batches, of which a page is drawn job by job."""

    as_of: date
    says: str
    names: tuple[str, ...]
    page: Page[list[str]]
    batches: tuple[BatchRow, ...]
    quiet: tuple[QuietJob, ...]
    jobs: int
    pumps: int

    @property
    def batch_count(self) -> int:
        """How many batches there are; jobs of none stand under no name."""
        return sum(bool(name) for name in self.names)


def find_batch(name: str) -> Batch | None:
    """A batch by name, however it is spelled; one statement."""
    return Batch.objects.filter(folded=fold(name)).first()


def schedule_sheet(plan: Plan, page: int = 1) -> ScheduleSheet:
    """Batches in the order of their first build, a page of them; one statement."""
    reading = reading_of(plan)
    asking = list(reading.jobs.values())
    by_batch: dict[str, list[Asker]] = {}
    for asker in sorted(asking, key=lambda one: (one.build_on, one.priority, one.turn)):
        by_batch.setdefault(asker.job.batch if asker.job else "", []).append(asker)
    most = FIRST_JOBS if len(asking) > JOBS_A_PAGE else JOBS_A_PAGE
    names = sorted(by_batch, key=lambda name: not name)
    pages = filled_pages(names, [min(len(by_batch[name]), most) for name in names], JOBS_A_PAGE)
    shown = Paginator(pages, 1).get_page(page)
    batches = tuple(batch_row(reading, name, by_batch[name], most) for named in shown for name in named)
    counts = Counter(asker.status for asker in asking)
    return ScheduleSheet(
        as_of=plan.shop.as_of,
        says=f"{plural(len(asking), 'job')} in {plural(sum(map(bool, names)), 'batch', 'batches')}: "
        + ", ".join(f"{counts[mark]} {mark}" for mark in MARKS if counts[mark]),
        names=tuple(names),
        page=shown,
        batches=batches,
        quiet=() if shown.has_next() else tuple(quiet_jobs(plan)),
        jobs=len(asking),
        pumps=sum(asker.job.quantity for asker in asking if asker.job),
    )


def filled_pages(names: Sequence[str], jobs: Sequence[int], most: int) -> list[list[str]]:
    """The batches page by page, as many on each as have no more jobs together than a page holds, and one at least."""
    pages: list[list[str]] = []
    filled = 0
    for name, count in zip(names, jobs, strict=True):
        if not pages or filled + count > most:
            pages.append([])
            filled = 0
        pages[-1].append(name)
        filled += count
    return pages


def batch_row(reading: Reading, name: str, shown: Sequence[Asker], most: int) -> BatchRow:
    """One batch with its first jobs; the grid has no columns here, they stand on the batch's own sheet."""
    counts = Counter(asker.status for asker in shown)
    return BatchRow(
        name=name,
        grid=job_grid(reading, shown[:most]),
        pumps=sum(asker.job.quantity for asker in shown if asker.job),
        states=tuple((mark, counts[mark]) for mark in MARKS if counts[mark]),
        leaning=sum(asker in reading.overdue_orders for asker in shown),
        more=max(0, len(shown) - most),
    )


def quiet_jobs(plan: Plan) -> Iterable[QuietJob]:
    """Jobs that are held, built, tested, shipped or cancelled, the latest build first; one statement."""
    quiet = [job for job in plan.shop.jobs if job.stage not in ASKING_STAGES]
    quiet = sorted(quiet, key=lambda job: job.build_on, reverse=True)[:MOST_QUIET]
    because = dict(Job.objects.filter(job__in=[job.job for job in quiet]).values_list("job", "held_because"))
    for job in quiet:
        if job.job not in because:  # an earlier strip of a job
            continue
        yield QuietJob(
            job=job.job,
            pump=job.pump,
            scope=job.scope,
            batch=job.batch,
            build_on=job.build_on,
            stage=Stage(job.stage).label.lower(),
            because=because.get(job.job, ""),
        )
