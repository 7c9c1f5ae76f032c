"""Build days proposed for all jobs of the shop, and shown for all or for one batch."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date

from bom.plan import Plan, plan
from bom.questions.days.outcome import DaysOutcome, outcome
from bom.questions.days.propose import EARLIER_AT_MOST, DayProposal, propose_days
from bom.questions.selection import weights_by_priority
from bom.values import Job
from kits.catalog.caching.progress import report
from kits.catalog.folding import fold
from kits.catalog.queries import read_settings
from kits.planning.keeping.begun import Begun
from kits.planning.queries import begun_beside, reading_of
from kits.planning.questions.trial import TrialSheet, side_by_side
from kits.planning.words.states import plural

SECONDS = 8.0


@dataclass(frozen=True, slots=True)
class ProposedMove:
    """A job on another day: what comes of the day typed, and of the one proposed."""

    job: str
    batch: str
    pump: str
    priority: int
    build_on: date
    built_on: date | None
    days_late: int
    proposed_on: date
    proposed_days_late: int

    @property
    def typed_says(self) -> str:
        """What comes of the day typed."""
        return _late_says(self.days_late) if self.built_on else "nobody knows when its parts come"

    @property
    def proposed_says(self) -> str:
        """What comes of the day proposed."""
        return _late_says(self.proposed_days_late)


@dataclass(frozen=True, slots=True)
class DaysSheet:
    """What is proposed; ``elsewhere`` counts the moves of other batches, ``left`` are jobs that keep their days."""

    says: str
    proof: str
    pumps_a_day: int | None
    rows: tuple[ProposedMove, ...]
    left: tuple[tuple[str, str], ...]
    elsewhere: int = 0
    earlier_at_most: int = EARLIER_AT_MOST

    def of_batch(self, batch: str) -> DaysSheet:
        """The same with the moves of one batch."""
        rows = tuple(row for row in self.rows if fold(row.batch) == fold(batch))
        return replace(self, rows=rows, elsewhere=len(self.rows) - len(rows))


def begin_days(of: Plan, *, patience: float | None = None, latest: bool = False) -> Begun[DaysSheet]:
    """The proposal over the whole shop, weighed by priority, as far as it is worked out; one statement."""
    pumps_a_day = read_settings().pumps_a_day
    return begun_beside(of, "days", lambda: _days_sheet(of, pumps_a_day), patience=patience, latest=latest)


def _days_sheet(of: Plan, pumps_a_day: int | None) -> DaysSheet:
    weights = weights_by_priority(of)
    proposal = propose_days(of, weights, pumps_a_day=pumps_a_day, time_limit=SECONDS, tell=report)
    return DaysSheet(
        says=both_say(proposal),
        proof=_proof(proposal),
        pumps_a_day=pumps_a_day,
        rows=tuple(_rows(of, proposal)),
        left=proposal.left,
    )


@dataclass(frozen=True, slots=True)
class DaysTried:
    """Both plans side by side with some jobs on other days, and how many jobs keep their promised days in each."""

    sheet: TrialSheet
    says: str


def try_days(before: Plan, jobs: Iterable[Job]) -> DaysTried:
    """Plan anew with jobs on other days, where the days typed count as promised; one statement."""
    moved = {job.job: job for job in jobs}
    shop = replace(before.shop, jobs=tuple(moved.get(job.job, job) for job in before.shop.jobs))
    after = plan(shop, reading_of(before).lists.compiled)
    promised = {name: asker.build_on for name, asker in reading_of(before).jobs.items()}
    weights, pumps_a_day = weights_by_priority(before), read_settings().pumps_a_day
    typed, found = (outcome(one, promised, weights, pumps_a_day) for one in (before, after))
    better = "better" if found.rank > typed.rank else "worse" if found.rank < typed.rank else "as good"
    says = (
        f"Against the days typed, {typed.on_time or 'none'} of {plural(len(typed.jobs), 'job')} can be built on the "
        f"day now{_rest(typed)}. With these moves {found.on_time or 'none'} can{_rest(found)}: that is {better}."
    )
    return DaysTried(side_by_side(before, after), says)


def both_say(proposal: DayProposal) -> str:
    """What comes of the days typed and of those proposed."""
    typed, found = proposal.typed, proposal.proposed
    jobs = len(typed.jobs)
    if not jobs:
        return "No job asks for parts, so there is no day to propose."
    if typed.on_time == jobs:
        return f"With the days typed, {'every job' if jobs > 1 else 'the job'} can be built on its day."
    says = (
        f"With the days typed, {typed.on_time or 'none'} of {plural(jobs, 'job')} can be built on the day{_rest(typed)}"
    )
    if not proposal.moves:
        tried = "Other days were found, planned in full, and came out no better." if proposal.no_better else ""
        return f"{says}. {tried or 'No better days were found.'}"
    return f"{says}. With {plural(len(proposal.moves), 'move')}, {found.on_time or 'none'} can{_rest(found)}."


def _rest(found: DaysOutcome) -> str:
    """How late the others are, in words."""
    late = len(found.jobs) - found.on_time - found.unknown
    days = plural(found.days_late, "working day")
    says = f"; {f'{late} are {days} late together' if late > 1 else f'1 is {days} late'}" if late else ""
    return f"{says}; of {found.unknown} nobody knows when the parts come" if found.unknown else says


def _proof(proposal: DayProposal) -> str:
    """Whether it is proved best, in words."""
    if len(proposal.left) == len(proposal.typed.jobs) or proposal.typed.on_time == len(proposal.typed.jobs):
        return ""
    if proposal.gap > 0:
        return (
            "Not proved best, for the time ran out: a better choice could have up to "
            f"{proposal.gap} more on time, by weight."
        )
    if not proposal.proved_least_late:
        return "No choice has more on time, by weight; a better one could have fewer days late, for the time ran out."
    return "Proved best: no choice of days on which all parts are here has more on time, by weight, or fewer days late."


def _rows(of: Plan, proposal: DayProposal) -> Iterator[ProposedMove]:
    jobs = reading_of(of).jobs
    for move in proposal.moves:
        job = jobs[move.job].job
        if job is not None:
            yield ProposedMove(
                job=move.job,
                batch=job.batch,
                pump=job.pump,
                priority=job.priority,
                build_on=move.build_on,
                built_on=move.built_on,
                days_late=move.days_late,
                proposed_on=move.proposed_on,
                proposed_days_late=move.proposed_days_late,
            )


def _late_says(days: int) -> str:
    return f"{plural(days, 'working day')} late" if days else "on time"
