"""Stores of strip reports as they are written on a page, inside a transaction only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from kits.catalog.folding import fold
from kits.catalog.history.versions import keep_versions, rows_of
from kits.catalog.models import Item
from kits.people.models import User
from kits.schedule.errors import ScheduleRefusal
from kits.schedule.models import Job, Verdict


@dataclass(frozen=True, slots=True)
class PositionLook:
    """What a strip report says of one position: the verdict, empty for none, what was found and what was measured."""

    verdict: str = ""
    found: str = ""
    measured: str = ""


@dataclass(frozen=True, slots=True)
class Look:
    """One position, what its row showed when it was written, and what it says now."""

    where: str
    part_number: str
    shown: PositionLook
    says: PositionLook


def store_looks(job: Job, looks: Sequence[Look], by: User, at: datetime) -> int:
    """Store what strip reports say now and keep what they said before; return how many positions changed."""
    held = job.verdicts.select_related("item").select_for_update(of=("self",)).order_by("pk")
    rows = {(row.folded, row.item.part_number): row for row in held}
    written = [look for look in looks if look.says != look.shown]
    known = {look: rows.get((fold(look.where), look.part_number)) for look in written}
    changed = {look: row for look, row in known.items() if _seen(row) != look.says}
    _refuse_overtaken({look: row for look, row in changed.items() if _seen(row) != look.shown})
    before = rows_of(Verdict, [row.pk for row in changed.values() if row])
    parts = {look.part_number for look in changed}
    items = dict(Item.objects.filter(part_number__in=parts).values_list("part_number", "pk"))
    kept = []
    for look, row in changed.items():
        values = {"verdict": look.says.verdict, "found": look.says.found, "measured": look.says.measured}
        if row is None:
            kept.append(Verdict.objects.create(job=job, where=look.where, item_id=items[look.part_number], **values).pk)
        elif not look.says.verdict:
            Verdict.objects.filter(pk=row.pk).delete()
        else:
            Verdict.objects.filter(pk=row.pk).update(**values)
            kept.append(row.pk)
    keep_versions(Verdict, before, rows_of(Verdict, kept), by=by, at=at, why="strip report")
    return len(changed)


def _seen(row: Verdict | None) -> PositionLook:
    return PositionLook() if row is None else PositionLook(row.verdict, row.found, row.measured)


def _refuse_overtaken(overtaken: Mapping[Look, Verdict | None]) -> None:
    for look, row in overtaken.items():
        now = f"{row.get_verdict_display().lower()} by now" if row else "without a verdict by now"
        raise ScheduleRefusal(
            f"Somebody else wrote of {look.where} meanwhile: it is {now}. Nothing was stored: look, and write again."
        )
