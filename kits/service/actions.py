"""What people write of the pump of a job: how it came, its photos, the serial that its plate says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from hashlib import sha256

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.history.versions import keep_versions, rows_of
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.schedule.models import Job
from kits.schedule.stages import TO_BUILD
from kits.schedule.words import Stage
from kits.schedule.writes import store_step
from kits.service.errors import ServiceRefusal
from kits.service.images import ENDINGS, SentPhoto, photo_to_keep
from kits.service.models import Arrival, Photo

MOST_PHOTOS = 60


@dataclass(frozen=True, slots=True)
class Came:
    """How a pump came, as it is written; blank is what could not be read, is not known, or was not done."""

    serial: str = ""
    model: str = ""
    fluid: str = ""
    flushed_by: str = ""
    flushed_with: str = ""
    paper_seen: bool = False
    missing: str = ""
    seen: str = ""
    agreed_with: str = ""
    signed_by: str = ""
    note: str = ""


def write_arrival(
    *, job: Job, came: Came, scope: str, seen_at: datetime | None, by: User, at: datetime, key: str
) -> Arrival:
    """Write once how the pump of a job came; a pump that was expected is here from then on.

    ``scope`` and ``seen_at`` are the scope and the last writing that stood on the page. Refused where others wrote
    meanwhile, and once the parts of the job are closed.
    """
    with transaction.atomic(durable=True):
        mark_shop()
        heard = log_request(key)
        held = Job.objects.select_for_update(of=("self",)).get(pk=job.pk)
        stored = Arrival.objects.filter(job=held).first()
        if not heard and stored is not None:
            return stored
        _refuse_settled(held, "its arrival stands")
        if (stored.at if stored else None) != seen_at or held.scope != scope:
            raise ServiceRefusal(
                f"Somebody else wrote of {held} meanwhile: nothing was stored. Look at its arrival again, then write."
            )
        before = {stored.pk: stored} if stored else {}
        agreed = held.scope if came.agreed_with else ""
        arrival = Arrival(pk=stored.pk if stored else None, job=held, agreed_scope=agreed, by=by, at=at, **asdict(came))
        arrival.save(force_insert=stored is None, force_update=stored is not None)
        keep_versions(Arrival, before, rows_of(Arrival, [arrival.pk]), by=by, at=at, why="arrival")
        if held.stage == Stage.EXPECTED:
            store_step(held, [Stage.EXPECTED], Stage.HERE, by=by, at=at, key=f"{key}:here")
        return arrival


def take_serial(*, job: Job, serial: str, by: User, at: datetime, key: str) -> str:
    """Write once the serial that the plate says, as it was shown, on its job; return what stood there before."""
    with transaction.atomic(durable=True):
        mark_shop()
        heard = log_request(key)
        held = Job.objects.select_for_update(of=("self",)).get(pk=job.pk)
        if not heard:
            return held.serial
        _refuse_settled(held, "its serial stands")
        if held.quantity != 1 or not serial or not Arrival.objects.filter(job=held, serial=serial).exists():
            raise ServiceRefusal(f"The plate of {held} does not say “{serial}” any more: look at its arrival again.")
        before = rows_of(Job, [held.pk])
        Job.objects.filter(pk=held.pk).update(serial=serial)
        keep_versions(Job, before, rows_of(Job, [held.pk]), by=by, at=at, why="read off the plate")
        return held.serial


def keep_photos(
    *, job: Job, photos: Sequence[SentPhoto], note: str, by: User, at: datetime, key: str, where: str = ""
) -> int:
    """Keep photos of the pump of a job, each once however often it is sent; return how many are new."""
    kept = {sha256(photo.content).hexdigest(): photo for photo in map(photo_to_keep, photos)}
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return 0
        Job.objects.select_for_update(of=("self",)).get(pk=job.pk)
        there = Photo.objects.filter(job=job, gone_at__isnull=True)
        known = set(there.filter(where=where, digest__in=kept).values_list("digest", flat=True))
        new = {digest: photo for digest, photo in kept.items() if digest not in known}
        if there.count() + len(new) > MOST_PHOTOS:
            raise ServiceRefusal(
                f"{job} would have more than {MOST_PHOTOS} photos: remove some that nobody needs, then send these."
            )
        Photo.objects.bulk_create(
            Photo(
                job=job,
                where=where,
                note=note,
                file_name=photo.name[-200:] or f"photo{ENDINGS[photo.media_type]}",
                media_type=photo.media_type,
                size=len(photo.content),
                digest=digest,
                content=photo.content,
                by=by,
                at=at,
            )
            for digest, photo in new.items()
        )
        return len(new)


def take_photo_away(*, photo: Photo, why: str, by: User, at: datetime) -> None:
    """Show a photo no longer, and keep who took it away and why; once is enough."""
    if not why.strip():
        raise ServiceRefusal("The photo stays: write why it is to be removed.")
    with transaction.atomic(durable=True):
        mark_shop()
        standing = Photo.objects.filter(pk=photo.pk, gone_at__isnull=True)
        standing.update(gone_by=by, gone_at=at, gone_because=why.strip())


def _refuse_settled(job: Job, stands: str) -> None:
    if job.stage not in TO_BUILD:
        raise ServiceRefusal(
            f"{job} is {job.get_stage_display().lower()}, so {stands}: bring the job back to where it is to be built "
            "before anything is written."
        )
