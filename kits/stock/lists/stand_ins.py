"""As which parts the pieces of a job count: what stands in for another part counts as that one."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator

from kits.schedule.models import Job
from kits.stock.models import Balance, StandIn
from kits.stock.words import HeldAs


class StandingIn:
    """Tells the pieces of jobs apart by the part as which they count, each piece once; one statement.

    What came back from a job counts as nothing any more, and what is left of the lot stands in before it serves the
    job's own need of that part.
    """

    def __init__(self, job: Job | None = None) -> None:
        rows = StandIn.objects.filter(posting__reversed_by__isnull=True)
        rows = rows if job is None else rows.filter(job=job)
        self._left: dict[tuple[int, int], dict[str, int]] = defaultdict(lambda: defaultdict(int))
        for held_by, lot, part, quantity in rows.values_list("job", "lot", "wanted__part_number", "quantity"):
            self._left[held_by, lot][part] += quantity

    def counted(self, job_id: int, lot_id: int, part_number: str, quantity: int) -> Iterator[tuple[str, int]]:
        """Yield so many millionths of a lot by the part as which they count."""
        left = self._left.get((job_id, lot_id), {})
        for wanted in left:
            stands = min(left[wanted], quantity)
            left[wanted] -= stands
            quantity -= stands
            if stands:
                yield wanted, stands
        if quantity:
            yield part_number, quantity

    def of_balance(self, balance: Balance) -> Iterator[tuple[str, int]]:
        """Yield what an account of a job holds; what was given besides stands in for nothing."""
        part = balance.lot.item.part_number
        if balance.state == HeldAs.EXTRA or balance.job_id is None:
            yield part, balance.quantity
        else:
            yield from self.counted(balance.job_id, balance.lot_id, part, balance.quantity)


def stand_ins_of(jobs: Iterable[Job]) -> list[StandIn]:
    """What was given to jobs in the place of other parts and was not taken back; one statement."""
    rows = StandIn.objects.filter(job__in=jobs, posting__reversed_by__isnull=True)
    return list(rows.select_related("posting__by", "job", "wanted", "lot__item"))


def named_as(counts_as: str, part_number: str, lot: str) -> str:
    """How a lot is named among those of the part as which it counts: by both where it stands in for another part."""
    return lot if counts_as == part_number else f"{part_number} {lot}"
