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

WRITTEN = "strip report"
"""The reason that stands in past versions of verdicts that were written on their page."""


@dataclass(frozen=True, slots=True)
class PositionLook:
    """What a strip report says of one position: the verdict, empty for none, what was found and what was measured.

    ``alone`` takes it out of the group with which it would stand or fall.
    """

    verdict: str = ""
    found: str = ""
    measured: str = ""
    alone: bool = False


@dataclass(frozen=True, slots=True)
class Look:
    """One position, what its row showed when it was written, and what it says now.

    ``limit`` and its ``unit`` are those that a measured value was held against.
    """

    where: str
    part_number: str
    shown: PositionLook
    says: PositionLook
    limit: str = ""
    unit: str = ""


def store_looks(job: Job, looks: Sequence[Look], by: User, at: datetime, why: str = WRITTEN) -> int:
    """Store what strip reports say now and keep what they said before; return how many positions changed."""
    held = job.verdicts.select_related("item").select_for_update(of=("self",)).order_by("pk")
    rows = {(row.folded, row.item.part_number): row for row in held}
    written = [look for look in looks if look.says != look.shown]
    known = {look: rows.get((fold(look.where), look.part_number)) for look in written}
    changed = {look: row for look, row in known.items() if look_of(row) != look.says}
    _refuse_overtaken({look: row for look, row in changed.items() if look_of(row) != look.shown})
    before = rows_of(Verdict, [row.pk for row in changed.values() if row])
    parts = {look.part_number for look in changed}
    items = dict(Item.objects.filter(part_number__in=parts).values_list("part_number", "pk"))
    kept = []
    for look, row in changed.items():
        values = _values(look, row)
        if row is None:
            kept.append(Verdict.objects.create(job=job, where=look.where, item_id=items[look.part_number], **values).pk)
        elif not look.says.verdict:
            Verdict.objects.filter(pk=row.pk).delete()
        else:
            Verdict.objects.filter(pk=row.pk).update(**values)
            kept.append(row.pk)
    keep_versions(Verdict, before, rows_of(Verdict, kept), by=by, at=at, why=why)
    return len(changed)


def look_of(row: Verdict | None) -> PositionLook:
    """What a stored verdict says; nothing where there is none."""
    return PositionLook() if row is None else PositionLook(row.verdict, row.found, row.measured, is_alone(row))


def is_alone(row: Verdict) -> bool:
    """Whether the position was taken out of its group; where nothing is said it follows it."""
    return row.with_group is False


def _values(look: Look, row: Verdict | None) -> dict[str, object]:
    said = look.says
    together = row.with_group if row is not None and row.with_group else None
    return {
        "verdict": said.verdict,
        "found": said.found,
        "measured": said.measured,
        "limit": look.limit if said.measured else "",
        "unit": look.unit if said.measured else "",
        "with_group": False if said.alone else together,
    }


def _refuse_overtaken(overtaken: Mapping[Look, Verdict | None]) -> None:
    for look, row in overtaken.items():
        now = f"{row.get_verdict_display().lower()} by now" if row else "without a verdict by now"
        raise ScheduleRefusal(
            f"Somebody else wrote of {look.where} meanwhile: it is {now}. Nothing was stored: look, and write again."
        )
