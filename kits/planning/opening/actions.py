"""What the service lead signs for on a job: a point that is let pass, a pump that is cleared; and taken back."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.planning.opening.compounds import compounds_of
from kits.planning.opening.gate import CLEARED, MAY_SIGN, GatePoint, opening_sheet
from kits.planning.queries import plan_now
from kits.schedule.models import Job
from kits.service.errors import ServiceRefusal
from kits.service.models import Waiver

SIGNED_ANEW = "signed for anew: it reads otherwise by now"


def sign_for(*, job: Job, point: str, about: str, why: str, by: User, at: datetime, key: str) -> Waiver:
    """Let one open point of a job pass once, for a reason; refused where it says something else by now.

    Signed for as cleared, a pump may be opened although its fluid is not known or nobody flushed it.
    """
    if not by.has_perm(MAY_SIGN):
        raise ServiceRefusal("Only the service lead signs for what is let pass: ask them.")
    if not why.strip():
        raise ServiceRefusal("Nothing was signed for: write why it may pass, or how the pump was made safe.")
    fitted = dict(compounds_of(plan_now(), job))
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := Waiver.objects.filter(key=key).first()) is not None:
            return earlier
        held = Job.objects.select_for_update(of=("self",)).select_related("pump").get(pk=job.pk)
        found = _open_point(opening_sheet(held, by, fitted).points, point, about)
        if found is None:
            raise ServiceRefusal(
                f"What was to be let pass on {held} is not open any more, or reads otherwise by now: look at it again."
            )
        lapsed = Waiver.objects.filter(job=held, point=point, back_at__isnull=True)
        lapsed.update(back_by=by, back_at=at, back_because=SIGNED_ANEW)
        return Waiver.objects.create(job=held, point=point, about=found.says, why=why.strip(), by=by, at=at, key=key)


def take_signature_back(*, waiver: Waiver, why: str, by: User, at: datetime) -> None:
    """Let a point pass no longer, and keep who took the signature back and why; once is enough."""
    if not by.has_perm(MAY_SIGN):
        raise ServiceRefusal("Only the service lead takes a signature back: ask them.")
    if not why.strip():
        raise ServiceRefusal("The signature stands: write why it is taken back.")
    with transaction.atomic(durable=True):
        mark_shop()
        standing = Waiver.objects.filter(pk=waiver.pk, back_at__isnull=True)
        standing.update(back_by=by, back_at=at, back_because=why.strip())


def _open_point(points: tuple[GatePoint, ...], name: str, about: str) -> GatePoint | None:
    found = (point for point in points if point.is_open and point.signs_as == name)
    return next((point for point in found if name == CLEARED or point.says == about), None)
