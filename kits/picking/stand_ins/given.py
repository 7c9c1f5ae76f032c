"""What was given to a job in the place of other parts, each with its reason."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from kits.catalog.amounts import Amount
from kits.people.names import name_of
from kits.schedule.models import Job
from kits.stock.lists.stand_ins import stand_ins_of


@dataclass(frozen=True, slots=True)
class GivenRow:
    """Pieces of a lot that went to a job in the place of ``wanted``, with who gave them when, and why."""

    job: str
    wanted: str
    part_number: str
    lot: str
    quantity: Amount
    reason: str
    by: str
    at: datetime


def given_rows(jobs: Iterable[Job]) -> Iterator[GivenRow]:
    """Return what stands in for other parts in jobs; two statements, one where nothing does."""
    for row, quantity in stand_ins_of(jobs):
        item, posting = row.lot.item, row.posting
        who = name_of(posting.by)
        amount = Amount.of(quantity, item.stock_unit)
        yield GivenRow(
            row.job.job, row.wanted.part_number, item.part_number, row.lot.lot, amount, row.reason, who, posting.at
        )
