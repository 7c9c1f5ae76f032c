"""Looking at a change of the lists before it is kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from kits.exchange.actions import keep_upload
from kits.exchange.models import Upload, UploadOrigin
from kits.exchange.revised.rows import ListRevision
from kits.people.models import User


def look_at_revision(
    *,
    revision: ListRevision,
    what: str,
    approved_by: str,
    why: str,
    page: str,
    said: Mapping[str, Sequence[str]],
    by: User,
    at: datetime,
) -> Upload:
    """Check a change of the lists, with what it does to the plan, and keep it to be confirmed; it stores no list."""
    typed: dict[str, Any] = {
        "what": what,
        "approved_by": approved_by,
        "beside": revision.both_sides(),
        "page": page,
        "said": {name: list(values) for name, values in said.items()},
    }
    return keep_upload(files=revision.files(), by=by, at=at, origin=UploadOrigin.REVISED, typed=typed, why=why)
