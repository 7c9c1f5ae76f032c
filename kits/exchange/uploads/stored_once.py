"""Whoever loads something is heard once, however often a button is tapped or a program sends the same again."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from django.db.models import QuerySet

from kits.catalog.errors import Refusal
from kits.catalog.request_log import log_request
from kits.exchange.models import Upload, UploadState
from kits.exchange.uploads.outcome import Outcome
from kits.people.models import User


class StoredAlready(Refusal):
    """The second of two taps on one button, or a page that was used before."""


class Overtaken(StoredAlready):
    """What is to be changed is not what was read."""


def refuse_overtaken(still: Callable[[], bool] | None) -> None:
    """Refuse, behind the mark, to change what is not as it was read; nothing is asked without a question."""
    if still is not None and not still():
        raise Overtaken("This has changed since it was read, so nothing was stored: read it again, then send it again.")


def store_once(key: str) -> None:
    """Log the request of a page behind the mark, or refuse it; a load without a page has no key."""
    try:
        if not key or log_request(key):
            return
    except Refusal as error:
        raise StoredAlready(str(error)) from error
    raise StoredAlready("That was stored a moment ago, by the tap before: look at how it stands now.")


SENT_UNDER = "sent_under"


def kept_under(key: str) -> Upload | None:
    """The upload that another program sent under a key, or None."""
    return Upload.objects.filter(**{f"typed__{SENT_UNDER}": key}).first()


def settle(upload: Upload, by: User | None, at: datetime, outcome: Outcome) -> None:
    """Mark an upload as loaded; a second confirmation finds it no longer waiting."""
    changed = waiting(upload).update(
        state=UploadState.LOADED,
        loaded_by=by,
        loaded_at=at,
        outcome=outcome.as_json(),
        result=outcome.says,
        worker="",
    )
    if not changed:
        raise settled(upload)


def waiting(upload: Upload) -> QuerySet[Upload]:
    """The upload, if it still waits to be loaded, or is being loaded by the worker that it was handed to."""
    if upload.state == UploadState.LOADING:
        return Upload.objects.filter(pk=upload.pk, state=UploadState.LOADING, worker=upload.worker)
    return Upload.objects.filter(pk=upload.pk, state=UploadState.CHECKED)


def settled(upload: Upload) -> Refusal:
    """The refusal of whoever confirms what does not wait any more."""
    return Refusal(f"Upload {upload.pk} does not wait for a confirmation any more: bring the file in again.")
