"""As which parts the pieces of a job count: what stands in for another part counts as that one."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator

from django.db.models import Q, QuerySet

from kits.catalog.caching.asked_often import ask_often
from kits.schedule.models import Job
from kits.stock.models import Balance, Movement, StandIn
from kits.stock.queries import RETURNS
from kits.stock.words import HeldAs, PostingKind

Move = tuple[int, int, int | None, str, int]
_LEAVES = RETURNS | {PostingKind.OPENING.value}
"""Kinds by which pieces leave a job, a list that says that it has fewer included."""


class StandingIn:
    """Tells the pieces of jobs apart by the part as which they count, each piece once; one statement.

    What came back from a job counts as nothing any more, and what is left of the lot stands in before it serves the
    job's own need of that part.
    """

    def __init__(self, job: Job | None = None) -> None:
        of_all = job is None
        moves = ask_often(lambda: _moves(StandIn.objects.all())) if of_all else _moves(StandIn.objects.filter(job=job))
        self._left: dict[tuple[int, int], dict[str, int]] = {}
        for of, given in _still_given(moves).items():
            counts = self._left[of] = defaultdict(int)
            for (_, wanted), quantity in given.items():
                counts[wanted] += quantity

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


def stand_ins_of(jobs: Iterable[Job]) -> list[tuple[StandIn, int]]:
    """What was given to jobs in the place of other parts and did not come back, with how many millionths of it; two
    statements, one where nothing was given."""
    given = _still_given(_moves(StandIn.objects.filter(job__in=jobs))).values()
    left = {pk: quantity for one in given for (pk, _), quantity in one.items() if quantity}
    rows = StandIn.objects.filter(pk__in=left).select_related("posting__by", "job", "wanted", "lot__item")
    return [(row, left[row.pk]) for row in rows]


def named_as(counts_as: str, part_number: str, lot: str) -> str:
    """How a lot is named among those of the part as which it counts: by both where it stands in for another part."""
    return lot if counts_as == part_number else f"{part_number} {lot}"


def _moves(rows: QuerySet[StandIn]) -> QuerySet[Movement, Move]:
    """What was given for these rows, and what left the same jobs of the same lots, in the order of posting."""
    accounts = Balance.objects.of_jobs().filter(job__in=rows.values("job"), lot__in=rows.values("lot"))
    moves = Movement.objects.filter(
        Q(posting__stand_in__isnull=False) | Q(posting__kind__in=_LEAVES, quantity__lt=0),
        balance__in=accounts.exclude(state=HeldAs.EXTRA).order_by().values("pk"),
        posting__reversed_by__isnull=True,
    )
    return moves.order_by("posting_id", "pk").values_list(
        "balance__job", "balance__lot", "posting__stand_in", "posting__stand_in__wanted__part_number", "quantity"
    )


def _still_given(moves: Iterable[Move]) -> dict[tuple[int, int], dict[tuple[int, str], int]]:
    """How much of each row still stands in, by job and lot and then by its key and the wanted part; one statement.

    What left the job since is taken off what stood in by then, off what was given first before the rest.
    """
    found: dict[tuple[int, int], dict[tuple[int, str], int]] = defaultdict(dict)
    for job, lot, stand_in, wanted, quantity in moves:
        given = found[job, lot]
        if stand_in is not None:
            given[stand_in, wanted] = quantity
            continue
        gone = -quantity
        for one, left in given.items():
            given[one] = max(0, left - gone)
            gone -= left - given[one]
    return found
