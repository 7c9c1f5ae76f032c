"""What an upload changes of jobs for a stated reason is kept with each of them, and so is that it was taken back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from django.db.models import Q

from kits.catalog.folding import fold
from kits.people.models import User
from kits.schedule.models import Job, JobChange
from kits.schedule.words import Stage
from kits.schedule.writes import Besides, Planned, store_change

SPLIT_OFF = ":split-off:"


class ChangeKeeper:
    """Jobs as they are before they are written over; two statements, and one for each job that changed."""

    def __init__(self, jobs: Q) -> None:
        self.before = {job.pk: (Planned.of(job), Besides.of(job)) for job in _read(jobs)}

    def keep(self, *, why: str, by: User | None, at: datetime, key: str) -> None:
        """Store what became of each of them, inside the transaction that did it."""
        for job in _read(Q(pk__in=self.before)):
            seen, before = self.before[job.pk]
            wanted, after = Planned.of(job), Besides.of(job)
            if (seen, before) != (wanted, after):
                store_change(
                    job,
                    seen,
                    wanted,
                    given_up=after.stage == Stage.CANCELLED != before.stage,
                    why=why,
                    by=by,
                    at=at,
                    key=f"{key}:{job.pk}",
                    before=before,
                    after=after,
                )


def keep_split_off(numbers: Sequence[str], *, why: str, by: User | None, at: datetime, key: str) -> None:
    """Keep with each job that was split off where it comes from; what it is was not changed."""
    first, *others = numbers
    for job in _read(Q(folded__in=[fold(number) for number in others])):
        same, besides = Planned.of(job), Besides.of(job)
        says, of = f"split off {first}: {why}"[:500], f"{key}{SPLIT_OFF}{job.pk}"
        store_change(job, same, same, given_up=False, why=says, by=by, at=at, key=of, before=besides, after=besides)


def forget_split_off(upload: int) -> None:
    """Let go what was kept so of jobs that go when their split is taken back."""
    JobChange.objects.filter(key__startswith=f"upload:{upload}{SPLIT_OFF}").delete()


def _read(jobs: Q) -> Iterable[Job]:
    return Job.objects.filter(jobs).select_related("pump", "batch").order_by("pk")
