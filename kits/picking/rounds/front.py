"""The front door of picking: rounds under way, jobs that can be picked, bags that wait for their job to be closed."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.core.paginator import Page, Paginator
from django.db.models import Count, Q

from bom.plan import Plan
from bom.reading import Asker
from bom.values import ONE, Item
from kits.catalog.folding import fold
from kits.catalog.words import Cleanliness, ItemKind
from kits.picking.models import PickRound, PickShare
from kits.picking.queries import bags_of, held_on_rounds, named
from kits.picking.rounds.to_pick import Give, less_what_is_held, to_pick
from kits.picking.walkers.walking import walks_say
from kits.picking.words import CLASS_SAYS, LineState, RoundState
from kits.planning.queries import reading_of
from kits.planning.words.states import State, job_state
from kits.schedule.models import Batch, Job
from kits.stock.models import Balance
from kits.stock.suspicions import lots_under_suspicion

TICKED_DAYS = 10
"""Ready jobs that are built within so many working days are ticked already."""
JOBS_SHOWN = 30


@dataclass(frozen=True, slots=True)
class RoundRow:
    """A round under way, or one that ended lately."""

    number: int
    for_what: str
    jobs: int
    done: int
    lines: int
    short: int
    started_by: str
    started_at: datetime
    state: str
    cleanliness: str
    walked_by: str

    @property
    def class_says(self) -> str:
        """How the class of a clean round is called; empty for an ordinary one."""
        return "" if self.cleanliness == Cleanliness.NORMAL else CLASS_SAYS[Cleanliness(self.cleanliness)]


@dataclass(frozen=True, slots=True)
class JobToPick:
    """A job of which something lies on the shelf: how many kits and loose lines, and what it waits for besides."""

    job: str
    pump: str
    scope: str
    quantity: int
    build_on: date
    batch: str
    state: State
    kits: int
    lines: int
    waits_for: int
    on_rounds: tuple[int, ...]
    ticked: bool
    cleanliness: Cleanliness

    @property
    def can_be_picked(self) -> bool:
        """Whether something lies on the shelf for it that is on no round yet."""
        return bool(self.kits or self.lines)


@dataclass(frozen=True, slots=True)
class JobGroup:
    """Jobs that can be picked in one round, because their parts have to be of one class."""

    cleanliness: Cleanliness
    jobs: tuple[JobToPick, ...]

    @property
    def says(self) -> str:
        """How the class is called."""
        return CLASS_SAYS[self.cleanliness]

    @property
    def is_clean(self) -> bool:
        """Whether only people trained for it pick these jobs."""
        return self.cleanliness != Cleanliness.NORMAL


@dataclass(frozen=True, slots=True)
class OpenBag:
    """A job with parts in its bags, each by its number and its name, those that are clean marked so.

    ``is_suspect`` where a lot in them is under suspicion.
    """

    job: str
    pump: str
    build_on: date
    stage: str
    lots: int
    bags: tuple[tuple[int, str], ...]
    is_suspect: bool


@dataclass(frozen=True, slots=True)
class FrontSheet:
    """Everything that stands on the front door of picking."""

    as_of: date
    batch: str
    batches: tuple[str, ...]
    running: tuple[RoundRow, ...]
    ended: tuple[RoundRow, ...]
    jobs: tuple[JobToPick, ...]
    page: Page[Asker]
    ticked_to: date
    bags: tuple[OpenBag, ...]

    @property
    def groups(self) -> tuple[JobGroup, ...]:
        """The jobs by class, ordinary ones first."""
        found = ((kind, tuple(job for job in self.jobs if job.cleanliness == kind)) for kind in Cleanliness)
        return tuple(JobGroup(kind, jobs) for kind, jobs in found if jobs)

    @property
    def to_pick(self) -> int:
        """How many of the jobs shown have something on the shelf that is on no round yet."""
        return sum(job.can_be_picked for job in self.jobs)

    @property
    def more_jobs(self) -> int:
        """How many jobs stand on other pages."""
        return self.page.paginator.count - len(self.jobs)

    @property
    def ready(self) -> int:
        """How many of these are wholly on the shelf."""
        return sum(job.can_be_picked and job.state.mark == "ready" for job in self.jobs)


def front_sheet(plan: Plan, batch: str = "", page: int = 1) -> FrontSheet:
    """The front door, for all jobs or those of one batch, a page of them; nine statements."""
    ticked_to = plan.calendar.forward(plan.shop.as_of, TICKED_DAYS)
    jobs, shown = _jobs_to_pick(plan, batch, ticked_to, page)
    return FrontSheet(
        as_of=plan.shop.as_of,
        batch=batch,
        batches=tuple(Batch.objects.filter(jobs__in=Job.objects.asking()).distinct().values_list("name", flat=True)),
        running=tuple(_rounds([RoundState.RUNNING], 50)),
        ended=tuple(_rounds([RoundState.FINISHED, RoundState.GIVEN_UP], 10)),
        jobs=tuple(jobs),
        page=shown,
        ticked_to=ticked_to,
        bags=tuple(_open_bags()),
    )


def find_jobs(numbers: Collection[str]) -> list[Job]:
    """The jobs of these numbers, however they are spelled; one statement."""
    return list(Job.objects.filter(folded__in={fold(number) for number in numbers}).order_by("build_on", "folded"))


def _jobs_to_pick(plan: Plan, batch: str, ticked_to: date, page: int) -> tuple[list[JobToPick], Page[Asker]]:
    """A page of the jobs to pick, by build day."""
    reading = reading_of(plan)
    askers = [one for one in reading.jobs.values() if one.job and (not batch or fold(one.job.batch) == fold(batch))]
    askers.sort(key=lambda one: (one.build_on, one.name))
    held, on_rounds = held_on_rounds(), _on_rounds()
    names = {one.job for one in held}
    # What is on a round already has to be taken off piece by piece.
    halved, _ = less_what_is_held(to_pick(reading, [one for one in askers if one.name in names])[0], held)
    to_give = {one.name for one in reading.given_from_shelf if one.is_job} - names | {give.job for give in halved}
    askers = [one for one in askers if one.name in to_give or one.name in on_rounds]
    askers.sort(key=lambda one: one.name not in to_give)  # what is wholly on rounds comes last, each by its build day
    shown = Paginator(askers, JOBS_SHOWN).get_page(page)
    gives, lacks = to_pick(reading, list(shown))
    gives, _ = less_what_is_held(gives, held)
    of_job: dict[str, list[Give]] = defaultdict(list)
    for give in gives:
        of_job[give.job].append(give)
    waits = Counter(job for job, _ in {(lack.job, lack.part_number) for lack in lacks})
    rows = [
        _job_to_pick(
            asker,
            job_state(reading, asker),
            of_job[asker.name],
            reading.items,
            waits[asker.name],
            on_rounds.get(asker.name, ()),
            ticked_to,
        )
        for asker in shown
    ]
    return rows, shown


def _job_to_pick(
    asker: Asker,
    state: State,
    gives: list[Give],
    items: Mapping[str, Item],
    waits_for: int,
    on_rounds: tuple[int, ...],
    ticked_to: date,
) -> JobToPick:
    job = asker.job
    assert job is not None, "other needs are not picked"
    kits = [give for give in gives if items[give.lot.part_number].kind == ItemKind.KIT]
    loose = [give for give in gives if items[give.lot.part_number].kind != ItemKind.KIT]
    return JobToPick(
        job=job.job,
        pump=job.pump,
        scope=job.scope,
        quantity=job.quantity,
        build_on=job.build_on,
        batch=job.batch,
        state=state,
        kits=sum(give.quantity for give in kits) // ONE,
        lines=len({give.stop for give in loose}),
        waits_for=waits_for,
        on_rounds=on_rounds,
        ticked=bool(gives) and state.mark == "ready" and job.build_on <= ticked_to,
        cleanliness=Cleanliness(job.cleanliness),
    )


def _on_rounds() -> dict[str, tuple[int, ...]]:
    found: dict[str, list[int]] = defaultdict(list)
    open_shares = PickShare.objects.filter(line__state=LineState.OPEN, line__pick_round__state=RoundState.RUNNING)
    on = open_shares.order_by("line__pick_round").values_list("bag__job__job", "line__pick_round").distinct()
    for job, number in on:
        found[job].append(number)
    return {job: tuple(numbers) for job, numbers in found.items()}


def _rounds(states: Collection[RoundState], most: int) -> list[RoundRow]:
    not_picked = Q(lines__state__in=[LineState.OPEN, LineState.LEFT])
    rows = (
        PickRound.objects.filter(state__in=states)
        .annotate(
            job_count=Count("lines__shares__bag__job", distinct=True),
            line_count=Count("lines", distinct=True),
            not_picked=Count("lines", filter=not_picked, distinct=True),
            short_count=Count("lines", filter=Q(lines__state=LineState.SHORT), distinct=True),
        )
        .order_by("-pk")
        .values_list(
            "pk",
            "for_what",
            "job_count",
            "line_count",
            "not_picked",
            "short_count",
            "started_by__username",
            "started_at",
            "state",
            "cleanliness",
        )[:most]
    )
    walked_by = walks_say([row[0] for row in rows])
    return [
        RoundRow(
            number=number,
            for_what=for_what,
            jobs=jobs,
            done=lines - not_picked,
            lines=lines,
            short=short,
            started_by=by or "",
            started_at=at,
            state=RoundState(state).label.lower(),
            cleanliness=cleanliness,
            walked_by=walked_by.get(number, ""),
        )
        for number, for_what, jobs, lines, not_picked, short, by, at, state, cleanliness in rows
    ]


def _open_bags() -> list[OpenBag]:
    rows = (
        Balance.objects.of_jobs()
        .filter(quantity__gt=0, job__in=Job.objects.asking())
        .values_list("job__job", "job__pump__part_number", "job__build_on", "job__stage")
        .annotate(lots=Count("lot", distinct=True))
        .order_by("job__build_on", "job__job")
    )
    bags = {job: tuple((bag.number, named(bag)) for bag in mine) for job, mine in bags_of(Job.objects.asking()).items()}
    held = Balance.objects.of_jobs().filter(quantity__gt=0, lot__in=lots_under_suspicion())
    suspect = set(held.values_list("job__job", flat=True))
    return [
        OpenBag(job, pump, build_on, stage, lots, bags.get(job, ()), job in suspect)
        for job, pump, build_on, stage, lots in rows
    ]
