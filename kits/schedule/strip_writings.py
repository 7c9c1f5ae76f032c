"""What was written on strip reports, one writing at a time, as the past versions of verdicts tell it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from kits.catalog.history.versions import ADDED, DELETED, versions_of
from kits.catalog.models import Item
from kits.schedule.looks import WRITTEN, Look, PositionLook, look_of
from kits.schedule.models import Job, Verdict

TAKEN_BACK = "strip report, taken back"


@dataclass(frozen=True, slots=True)
class StripWriting:
    """The last writing on the strip report of a job: what each position said before it, and says since.

    ``number`` is that of its last version; ``was_taken_back`` says that it only took back the one before.
    """

    number: int
    at: datetime
    by: str
    was_taken_back: bool
    looks: tuple[Look, ...]
    before: Mapping[tuple[str, str], Any]

    def taken_back(self) -> list[Look]:
        """The same the other way round."""
        return [
            Look(
                look.where,
                look.part_number,
                shown=look.says,
                says=look.shown,
                limit=row.limit if row else "",
                unit=row.unit if row else "",
            )
            for look in self.looks
            for row in (self.before[look.where, look.part_number],)
        ]


def last_writing(job: Job) -> StripWriting | None:
    """The last writing on the strip report of a job; None where there is none or it was overtaken. Five statements."""
    versions = versions_of(Verdict).filter(job=job, elsewhere=False, history_change_reason__in=(WRITTEN, TAKEN_BACK))
    last = versions.select_related("history_user").order_by("-history_id").first()
    if last is None:
        return None
    since = list(versions.filter(history_date=last.history_date).order_by("history_id"))
    older = versions_of(Verdict).filter(id__in=[row.id for row in since], history_id__lt=since[-1].history_id)
    before: dict[int, Any] = {}
    written = {row.history_id for row in since}
    for row in older.order_by("history_id"):
        if row.history_id not in written:
            before[row.id] = None if row.history_type == DELETED else row
    parts = dict(Item.objects.filter(pk__in={row.item_id for row in since}).values_list("pk", "part_number"))
    looks = tuple(
        Look(
            row.where,
            parts[row.item_id],
            shown=PositionLook() if row.history_type == ADDED else look_of(before.get(row.id, row)),
            says=PositionLook() if row.history_type == DELETED else look_of(row),
        )
        for row in since
    )
    stands = {(row.folded, row.item_id): look_of(row) for row in job.verdicts.all()}
    if any(
        stands.get((row.folded, row.item_id), PositionLook()) != look.says
        for row, look in zip(since, looks, strict=True)
    ):
        return None
    user = last.history_user
    return StripWriting(
        number=last.history_id,
        at=last.history_date,
        by=user.get_full_name() or user.get_username() if user else "",
        was_taken_back=last.history_change_reason == TAKEN_BACK,
        looks=looks,
        before={
            (row.where, parts[row.item_id]): None if row.history_type == ADDED else before.get(row.id, row)
            for row in since
        },
    )
