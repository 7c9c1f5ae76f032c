"""What became of each job between two answers: slipped, recovered, new, done and the rest, each with why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from kits.planning.weeks.answers import Answers, JobAnswer, KeptRow, answers_of, kept_answers
from kits.planning.weeks.reasons import Reasons
from kits.planning.words.states import plural
from kits.schedule.models import Job, JobStep
from kits.schedule.stages import DONE
from kits.schedule.words import Stage

BECAME = {
    "slipped": "slipped",
    "recovered": "recovered",
    "new": "new",
    "done": "done",
    "held": "held",
    "cancelled": "cancelled",
    "gone": "taken off the schedule",
}
"""What may have become of a job, in the order in which it is told."""
UNKNOWN = date.max


@dataclass(frozen=True, slots=True)
class JobMove:
    """A job of which something became; ``was`` and ``now`` are what it was told, None where it was not there.

    ``days`` are the working days by which it comes later, below zero sooner; None where one of them is not known.
    """

    job: str
    pump: str
    scope: str
    serial: str
    customer: str
    became: str
    was: JobAnswer | None
    now: JobAnswer | None
    days: int | None
    why: tuple[str, ...]

    @property
    def became_says(self) -> str:
        """What became of it, in words."""
        return BECAME[self.became]


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two answers set against each other; ``same`` counts the jobs of which nothing became."""

    before: Answers
    after: Answers
    rows: tuple[JobMove, ...]
    same: int

    @property
    def counts(self) -> dict[str, int]:
        """How many jobs became what, in the order in which it is told."""
        found = Counter(row.became for row in self.rows)
        return {became: found[became] for became in BECAME if found[became]}

    @property
    def says(self) -> str:
        """The answer in one sentence."""
        told = [f"{count} {BECAME[became]}" for became, count in self.counts.items()]
        same = f"{plural(self.same, 'job')} as before" if self.same else ""
        return f"{', '.join([*told, *([same] if same else [])])}." if told else "Nothing changed for any job."


def compare(plan: Plan, before: Answers, after: Answers) -> Comparison:
    """What became of each job from one answer to a later one; a fixed number of statements."""
    ended = _ended(before, after)
    became = dict(_became(before.jobs, after.jobs, ended))
    reasons = Reasons(plan, before, after, became)
    rows = [
        _row(plan, job, what, before.jobs.get(job), after.jobs.get(job), reasons.of(job, what))
        for job, what in became.items()
    ]
    order = list(BECAME)
    rows.sort(key=lambda row: (order.index(row.became), -(row.days or 0), row.job))
    return Comparison(before, after, tuple(rows), sum(job not in became for job in after.jobs))


def compare_kept(plan: Plan, kept: Sequence[KeptRow], first: str, last: str) -> Comparison | None:
    """Two of the kept answers by their numbers, the earlier first; None where none are kept.

    Without a number: those that the last week began with, against those of now.
    """
    by_number = {str(row.pk): row.pk for row in kept}
    start, end = by_number.get(first) or since(kept, plan.shop.as_of), by_number.get(last)
    before, after = start and kept_answers(start), end and kept_answers(end)
    if not before:
        return None
    if after and (after.as_of, after.at) < (before.as_of, before.at):
        before, after = after, before
    return compare(plan, before, after or answers_of(plan))


def since(kept: Sequence[KeptRow], as_of: date) -> int | None:
    """The latest answers that a week began with before today; else the oldest that are kept."""
    begun = [row.pk for row in kept if row.is_first_of_week and row.as_of < as_of]
    return begun[0] if begun else kept[-1].pk if kept else None


def counted(before: Answers, after: Answers) -> dict[str, int]:
    """How many jobs slipped, recovered and are new; no statement."""
    found = Counter(what for _, what in _became(before.jobs, after.jobs, {}) if what in ("slipped", "recovered", "new"))
    return {what: found[what] for what in BECAME if found[what]}


def _became(
    before: Mapping[str, JobAnswer], after: Mapping[str, JobAnswer], ended: Mapping[str, str]
) -> Iterator[tuple[str, str]]:
    for job, now in after.items():
        if (was := before.get(job)) is None:
            yield job, "new"
        elif was.asks and not now.asks:
            yield job, "held"
        elif now.asks and not was.asks:
            yield job, "recovered"
        elif _how_bad(now) != _how_bad(was):
            yield job, "slipped" if _how_bad(now) > _how_bad(was) else "recovered"
    for job in before:
        if job not in after:
            yield job, ended.get(job, "gone")


def _how_bad(answer: JobAnswer) -> tuple[date, bool]:
    """The later it can be built the worse; on the same day it is worse if that is not sure or not the day it has."""
    return answer.could_build_on or UNKNOWN, not answer.is_sure


def _ended(before: Answers, after: Answers) -> dict[str, str]:
    """What became of the jobs that are not to be built any more by the later answers; two statements."""
    left = [job for job in before.jobs if job not in after.jobs]
    stages = dict(Job.objects.filter(job__in=left).values_list("job", "stage"))
    if after.pk:
        # What they are now may have come later than the answers.
        steps = JobStep.objects.filter(job__job__in=left, at__lte=after.at).order_by("pk")
        stages |= dict(steps.values_list("job__job", "after"))
    found = {}
    for job, stage in stages.items():
        found[job] = "done" if stage in DONE else "cancelled" if stage == Stage.CANCELLED else "gone"
    return found


def _row(
    plan: Plan, job: str, became: str, was: JobAnswer | None, now: JobAnswer | None, why: tuple[str, ...]
) -> JobMove:
    known = now or was
    assert known is not None, "one of the answers holds the job"
    return JobMove(
        job=job,
        pump=known.pump,
        scope=known.scope,
        serial=known.serial,
        customer=known.customer,
        became=became,
        was=was,
        now=now,
        days=_days(plan, was, now),
        why=why,
    )


def _days(plan: Plan, was: JobAnswer | None, now: JobAnswer | None) -> int | None:
    first, last = was and was.could_build_on, now and now.could_build_on
    if not first or not last:
        return None
    return plan.calendar.between(first, last) if first <= last else -plan.calendar.between(last, first)
