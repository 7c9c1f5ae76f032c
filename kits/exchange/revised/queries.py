"""Lists that were changed from a day or a serial on: what, by whom approved, why, and what became of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from kits.exchange.models import Upload, UploadOrigin, UploadState

STATE_SAYS = {
    UploadState.CHECKED.value: "looked at, not kept yet",
    UploadState.REFUSED.value: "refused",
    UploadState.LOADING.value: "being kept",
    UploadState.LOADED.value: "kept",
    UploadState.WITHDRAWN.value: "put aside",
    UploadState.UNDONE.value: "taken back",
}


@dataclass(frozen=True, slots=True)
class RevisedRow:
    """One change of the lists; ``upload`` is the number under which both sides stand and it is taken back."""

    upload: int
    at: datetime
    what: str
    approved_by: str
    why: str
    by: str
    state: str
    kept: bool


def revised_lists() -> list[RevisedRow]:
    """Every change of the lists that was approved by name, the latest first; one statement."""
    found = Upload.objects.filter(origin=UploadOrigin.REVISED).select_related("by").defer("outcome", "headings")
    return [
        RevisedRow(
            upload=one.pk,
            at=one.at,
            what=one.typed.get("what", ""),
            approved_by=one.typed.get("approved_by", ""),
            why=one.why,
            by=one.brought_by,
            state=STATE_SAYS.get(one.state, one.get_state_display().lower()),
            kept=one.state == UploadState.LOADED,
        )
        for one in found
    ]
