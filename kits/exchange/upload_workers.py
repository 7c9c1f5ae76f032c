"""Large uploads are checked and loaded beside the request, in a thread of the server, one after the other.

How far a thread is stands in the memory of its process: the database could not say, for SQLite lets nobody write while
a load is under way. Which process took an upload stands in its row, so that after a new start everybody sees what was
left half done and can take it up.
"""

from __future__ import annotations

import logging
import os
import threading
import uuid
from collections.abc import Callable, Collection, Sequence
from copy import copy
from datetime import datetime
from functools import cache

from django.db import connections
from django.db.models import Sum
from django.db.models.functions import Length

from kits.catalog.caching.progress import Progress, reporting_to
from kits.catalog.waiting import is_away
from kits.exchange.actions import (
    begin_loading,
    break_off_upload,
    check_upload,
    keep_upload,
    load_upload,
    receive_upload,
    take_up_upload,
)
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.models import WORKED_ON, Upload, UploadedFile
from kits.exchange.uploads.outcome import Outcome
from kits.people.models import User

MOST_AT_ONCE = 256 * 2**10
"""Bytes of files that are worked on while the browser waits: a few seconds' work."""

_log = logging.getLogger(__name__)
_turn = threading.Lock()
_running: dict[int, Progress] = {}


def bring_in(*, files: Sequence[SheetFile], by: User | None, at: datetime, replaced: Collection[str] = ()) -> Upload:
    """Keep files and check them: small ones at once, large ones in a thread."""
    if sum(len(file.content) for file in files) <= MOST_AT_ONCE:
        return keep_upload(files=files, by=by, at=at, replaced=replaced)
    worker = this_process()
    upload = receive_upload(files=files, by=by, at=at, replaced=replaced, worker=worker)
    _start(upload, lambda own: check_upload(upload=own, worker=worker, at=at))
    return upload


def confirm(*, upload: Upload, by: User, at: datetime, shown: str = "") -> Outcome | None:
    """Load a checked upload as it was ``shown``: a small one at once; of a large one the outcome is not there yet."""
    size = UploadedFile.objects.filter(upload=upload).aggregate(size=Sum(Length("content")))["size"] or 0
    if size <= MOST_AT_ONCE:
        return load_upload(upload=upload, by=by, at=at, shown=shown)
    begin_loading(upload=upload, by=by, worker=this_process(), at=at)
    _start(upload, lambda own: load_upload(upload=own, by=by, at=at, shown=shown))
    return None


def take_up(*, upload: Upload, by: User, at: datetime) -> None:
    """Check an upload anew that was left half done."""
    worker = this_process()
    take_up_upload(upload=upload, by=by, worker=worker, at=at)
    _start(upload, lambda own: check_upload(upload=own, worker=worker, at=at))


def progress_of(upload: Upload) -> Progress | None:
    """How far this process is with an upload; None if it is not at it."""
    return _running.get(upload.pk) if upload.state in WORKED_ON else None


@cache
def this_process() -> str:
    """What tells this run of this process from any other."""
    return f"process {os.getpid()}, {uuid.uuid4().hex[:12]}"


def _start(upload: Upload, work: Callable[[Upload], object]) -> None:
    _running[upload.pk] = Progress("Waiting for its turn")
    # A copy, for whoever asks how far it is must not see what is noted on it before that is stored.
    # A daemon, so that the server stops at once; what the thread was about to store is then left out as a whole.
    threading.Thread(target=_run, args=(copy(upload), work), name=f"upload {upload.pk}", daemon=True).start()


def _run(upload: Upload, work: Callable[[Upload], object]) -> None:
    def note(progress: Progress) -> None:
        _running[upload.pk] = progress

    try:
        # One at a time: two lists of a hundred thousand rows would take the memory of both.
        with _turn, reporting_to(note):
            work(upload)
    except Exception as error:
        if is_away(error):
            # Left half done: whoever looks at it once the database is back is offered to take it up.
            _log.error("The database is away (%s): the work on upload %s stopped.", error, upload.pk)
        else:
            _log.exception("The work on upload %s broke off.", upload.pk)
            break_off_upload(upload=upload, worker=this_process())
    finally:
        _running.pop(upload.pk, None)
        connections.close_all()
