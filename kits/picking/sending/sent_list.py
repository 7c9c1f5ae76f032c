"""The jobs that were sent to the storeroom, and what the list asks for otherwise since."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from bom.plan import Plan
from kits.picking.models import SentJob, SentNeed
from kits.picking.sending.draft import asked_in_all
from kits.planning.queries import reading_of
from kits.planning.words.item_names import item_names


@dataclass(frozen=True, slots=True)
class SentRow:
    """A job that was sent: when and by whom, and what has changed since.

    ``with_it`` is how many went in one step, told on the first of them.
    """

    number: int
    job: str
    pump: str
    batch: str
    build_on: date
    sent_at: datetime
    sent_by: str
    moved_from: date | None
    since: tuple[str, ...]
    with_it: int

    @property
    def shows(self) -> str:
        """The row as a page shows it."""
        return f"{self.number} {self.job}"


def sent_rows(of: Plan, job: str = "") -> list[SentRow]:
    """The jobs that were sent and still ask for parts, or one of them, in the order in which they are built."""
    reading = reading_of(of)
    found = SentJob.objects.filter(back_at__isnull=True).select_related("job__pump", "job__batch", "by")
    steps: dict[str, int] = defaultdict(int)
    for key in found.values_list("key", flat=True):
        steps[key] += 1
    rows = [one for one in found if one.job.job in reading.jobs and job in ("", one.job.job)]
    since = _since(of, rows)
    return [
        SentRow(
            number=one.pk,
            job=one.job.job,
            pump=one.job.pump.part_number,
            batch=one.job.batch.name if one.job.batch else "",
            build_on=one.job.build_on,
            sent_at=one.at,
            sent_by=one.by.username if one.by else "",
            moved_from=one.build_on if one.build_on != one.job.build_on else None,
            since=since[one.pk],
            with_it=steps.pop(one.key, 1),
        )
        for one in sorted(rows, key=lambda one: (one.job.build_on, one.job.job))
    ]


def _since(of: Plan, rows: Sequence[SentJob]) -> dict[int, tuple[str, ...]]:
    """What each list asks for more, or less, than when the job was sent."""
    reading = reading_of(of)
    then: dict[int, dict[str, int]] = defaultdict(dict)
    needs = SentNeed.objects.filter(sent__in=rows).values_list("sent_id", "item__part_number", "quantity")
    for sent, part, quantity in needs:
        then[sent][part] = quantity
    changes: dict[int, list[tuple[str, int]]] = {}
    for row in rows:
        now = asked_in_all(reading, row.job.job)
        parts = sorted(now.keys() | then[row.pk].keys())
        more = [(part, now.get(part, 0) - then[row.pk].get(part, 0)) for part in parts]
        changes[row.pk] = [(part, by) for part, by in more if by]
    names = item_names({part for found in changes.values() for part, _ in found})
    return {
        sent: tuple(
            f"the list asks for {names[part].amount(abs(by)).text} {'more' if by > 0 else 'fewer'} of {part}"
            for part, by in found
        )
        for sent, found in changes.items()
    }
