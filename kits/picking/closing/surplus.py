"""What of a bag is more than its pump takes, lot by lot, and what may be missing in the pump."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date

from django.db.models import QuerySet

from bom.questions.bag_check import BagCheck
from kits.picking.models import PumpQuestion
from kits.schedule.models import Job
from kits.stock.lists.stand_ins import StandingIn
from kits.stock.models import Balance
from kits.stock.packed_kits.last_uses import earliest
from kits.stock.words import HeldAs


def surplus_of(
    check: BagCheck | None, balances: Iterable[Balance], packed: Mapping[int, date], standing: StandingIn
) -> dict[int, int]:
    """How much of each balance of a job is more than the pump takes, in millionths: what lasts longest first.

    ``packed`` is the last use of each kit lot by its pieces. What was given besides is not asked about: there was a
    reason for it.
    """
    if check is None:
        return {}
    found: dict[int, int] = defaultdict(int)
    left = dict(check.beyond)
    mine = (row for row in balances if row.state != HeldAs.EXTRA)
    for row in sorted(mine, key=lambda row: (_last_use(row, packed), row.pk), reverse=True):
        for part, quantity in standing.of_balance(row):
            count = min(left.get(part, 0), quantity)
            left[part] = left.get(part, 0) - count
            found[row.pk] += count
    return found


def open_questions(job: Job) -> QuerySet[PumpQuestion]:
    """What nobody has looked for in the pump of a job yet."""
    return PumpQuestion.objects.filter(job=job, answered_at__isnull=True).select_related("lot__item", "by")


def question_says(question: PumpQuestion) -> str:
    """What may be missing in the pump."""
    named = f"{question.amount.text} of {question.lot.item}, lot {question.lot.lot}"
    return f"{named}, may have been forgotten when the pump was built"


def _last_use(row: Balance, packed: Mapping[int, date]) -> date:
    return earliest(row.lot.last_use_on, packed.get(row.lot_id)) or date.max
