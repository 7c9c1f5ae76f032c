"""What people change of a job: when it is built and what is rebuilt, or that it is not built; what that sets free."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.fields import quantity_text
from kits.catalog.options import canonical_options
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.picking.closing.open_points import open_lines
from kits.picking.errors import PickRefusal
from kits.picking.models import SentJob
from kits.planning.words.states import plural
from kits.schedule.errors import ScheduleRefusal
from kits.schedule.models import Job, JobChange
from kits.schedule.words import Stage
from kits.schedule.writes import (
    Planned,
    refuse_unknown_scope,
    refuse_without_reason,
    store_change,
    store_planned,
)
from kits.stock.models import Reservation

PRIORITIES = range(1, 10)


def change_job(*, job: Job, seen: Planned, wanted: Planned, why: str, by: User, at: datetime, key: str) -> JobChange:
    """Build a job on another day, in another turn or as another rebuild, once per key, if it is still as it was seen.

    What lies in its bag and what is set aside for it beyond the new need stands on the return list from then on.
    """
    refuse_without_reason(why, job.job)
    if seen == wanted:
        raise ScheduleRefusal(f"Nothing of {job} would change: give another day, priority or scope.")
    if wanted.priority not in PRIORITIES:
        raise ScheduleRefusal(f"Priority {wanted.priority} of {job} is not known: give 1, which goes first, to 9.")
    if wanted.quantity < 1:
        raise ScheduleRefusal(f"{job} cannot rebuild {wanted.quantity} pumps: give a whole number from 1 on.")
    canonical_options(wanted.option)
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := JobChange.objects.filter(key=key).first()) is not None:
            return earlier
        refuse_unknown_scope(job, seen, wanted)
        if seen.takes != wanted.takes:
            refuse_open_lines(job, "changed")
        store_planned(job, seen, wanted)
        return store_change(job, seen, wanted, given_up=False, why=why, by=by, at=at, key=key)


def give_up_job(*, job: Job, seen: Planned, why: str, by: User, at: datetime, key: str) -> JobChange:
    """Give a job up once, if it is still as it was seen: what is set aside for it on the shelf is free again.

    What lies in its bag stands on the return list from then on.
    """
    refuse_without_reason(why, job.job)
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := JobChange.objects.filter(key=key).first()) is not None:
            return earlier
        refuse_open_lines(job, "given up")
        store_planned(job, seen, seen, stage=Stage.CANCELLED)
        Reservation.objects.filter(job=job).delete()
        SentJob.objects.filter(job=job, back_at__isnull=True).update(back_by=by, back_at=at)
        return store_change(job, seen, seen, given_up=True, why=why, by=by, at=at, key=key)


def free_set_aside(*, job: Job, lot_id: int, quantity: int, by: User, at: datetime, key: str) -> int:
    """Set pieces of a lot no longer aside for a job, once per key, and return how many millionths are free for it."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return 0
        held = Reservation.objects.select_for_update().filter(job=job, lot_id=lot_id).first()
        if held is None or held.quantity < quantity:
            raise PickRefusal(
                f"{quantity_text(held.quantity) if held else 'Nothing'} of that lot is set aside for {job} by now, not "
                f"{quantity_text(quantity)}: look at the return list again."
            )
        refuse_open_lines(job, "changed")
        if held.quantity == quantity:
            held.delete()
        else:
            Reservation.objects.filter(pk=held.pk).update(quantity=held.quantity - quantity)
        return quantity


def refuse_open_lines(job: Job, done: str) -> None:
    """Refuse what cannot be done while lines of a round are still to be picked for a job."""
    for number, count in open_lines(job).items():
        raise PickRefusal(
            f"{job} still has {plural(count, 'line')} to pick on round {number}: "
            f"book them, or give the round up, before the job is {done}."
        )
