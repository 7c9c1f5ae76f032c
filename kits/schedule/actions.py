"""What people do with the schedule: keep a change of a job that was tried."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from kits.catalog.folding import fold
from kits.catalog.models import ScopeSection
from kits.catalog.revisions import mark_shop
from kits.people.models import User
from kits.schedule.errors import ScheduleRefusal
from kits.schedule.models import Job, JobChange
from kits.schedule.writes import Planned, refuse_without_reason, store_change, store_planned

PRIORITIES = range(1, 10)


def change_job(*, job: Job, seen: Planned, wanted: Planned, why: str, by: User, at: datetime, key: str) -> JobChange:
    """Build a job on another day, in another turn or to another scope, once per key, if it is still as it was seen."""
    refuse_without_reason(why, job.job)
    if seen == wanted:
        raise ScheduleRefusal(f"Nothing of {job} would change: give another day, priority or scope.")
    if wanted.priority not in PRIORITIES:
        raise ScheduleRefusal(f"Priority {wanted.priority} of {job} is not known: give 1, which goes first, to 9.")
    with transaction.atomic(durable=True):
        mark_shop()
        if (earlier := JobChange.objects.filter(key=key).first()) is not None:
            return earlier
        scopes = ScopeSection.objects.filter(pump=job.pump_id)
        if fold(wanted.scope) != fold(seen.scope) and not scopes.filter(folded=fold(wanted.scope)).exists():
            known = ", ".join(sorted(set(scopes.values_list("scope", flat=True)))) or "none"
            raise ScheduleRefusal(f"{job.pump} has no scope “{wanted.scope}” for {job}; known for it: {known}.")
        store_planned(job, seen, wanted)
        return store_change(job, seen, wanted, given_up=False, why=why, by=by, at=at, key=key)
