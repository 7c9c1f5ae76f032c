"""Build days proposed for all jobs of the shop, and shown for all or for one batch."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.questions.days.outcome import DaysOutcome
from bom.questions.days.propose import EARLIER_AT_MOST, DayProposal, propose_days
from bom.questions.selection import weights_by_priority
from kits.catalog.folding import fold
from kits.catalog.queries import read_settings
from kits.planning.queries import reading_of, shared_beside
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
    earlier_at_most: int
    rows: tuple[ProposedMove, ...]
    elsewhere: int
    left: tuple[tuple[str, str], ...]


def proposal_of(plan: Plan) -> DayProposal:
    """The proposal over the whole shop, weighed by priority; worked out once for a plan."""
    return shared_beside(plan, "days", lambda: _propose(plan))


def _propose(plan: Plan) -> DayProposal:
    return propose_days(plan, weights_by_priority(plan), pumps_a_day=read_settings().pumps_a_day, time_limit=SECONDS)


def days_sheet(plan: Plan, batch: str = "") -> DaysSheet:
    """The proposal for all jobs or those of a batch; one statement."""
    proposal = proposal_of(plan)
    rows = tuple(_rows(plan, proposal))
    shown = tuple(row for row in rows if not batch or fold(row.batch) == fold(batch))
    return DaysSheet(
        says=both_say(proposal),
        proof=_proof(proposal),
        pumps_a_day=read_settings().pumps_a_day,
        earlier_at_most=EARLIER_AT_MOST,
        rows=shown,
        elsewhere=len(rows) - len(shown),
        left=proposal.left,
    )


def both_say(proposal: DayProposal) -> str:
    """What comes of the days typed and of those proposed."""
    typed, found = proposal.typed, proposal.proposed
    jobs = len(typed.jobs)
    if typed.on_time == jobs:
        return f"With the days typed, {'every job' if jobs > 1 else 'the job'} can be built on its day."
    says = (
        f"With the days typed, {typed.on_time or 'none'} of {plural(jobs, 'job')} can be built on the day{_rest(typed)}"
    )
    if not proposal.moves:
        return f"{says}; no better days were found."
    return f"{says}. With {plural(len(proposal.moves), 'move')}, {found.on_time or 'none'} can{_rest(found)}."


def _rest(found: DaysOutcome) -> str:
    """How late the others are, in words."""
    late = len(found.jobs) - found.on_time - found.unknown
    says = f", {late} {plural(found.days_late, 'working day')} late in all" if late else ""
    return f"{says}, and of {found.unknown} nobody knows when the parts come" if found.unknown else says


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


def _rows(plan: Plan, proposal: DayProposal) -> Iterator[ProposedMove]:
    jobs = reading_of(plan).jobs
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
