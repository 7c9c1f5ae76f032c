"""What of a bag is more than its pump takes, lot by lot, and what may be missing in the pump."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime

from django.db import transaction
from django.db.models import QuerySet

from bom.questions.bag_check import BagCheck
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.picking.errors import PickRefusal
from kits.picking.models import PumpQuestion
from kits.picking.queries import bag_balances
from kits.picking.rounds.line_check import refuse_quiet_job
from kits.picking.words import PumpAnswer
from kits.schedule.models import Job
from kits.stock.models import Balance
from kits.stock.packed_kits.last_uses import earliest
from kits.stock.words import HeldAs


def surplus_of(check: BagCheck | None, balances: Iterable[Balance], packed: Mapping[int, date]) -> dict[int, int]:
    """How much of each balance is more than the pump takes, in millionths: what lasts longest first.

    ``packed`` is the last use of each kit lot by its pieces. What was given besides is not asked about: there was a
    reason for it.
    """
    if check is None:
        return {}
    found: dict[int, int] = defaultdict(int)
    left = dict(check.beyond)
    mine = (row for row in balances if row.state != HeldAs.EXTRA)
    for row in sorted(mine, key=lambda row: (_last_use(row, packed), row.pk), reverse=True):
        part = row.lot.item.part_number
        count = min(left.get(part, 0), row.quantity)
        left[part] = left.get(part, 0) - count
        found[row.pk] += count
    return found


def ask_about_pump(
    *, job: Job, forgotten: Sequence[tuple[int, int]], by: User, at: datetime, key: str
) -> list[PumpQuestion]:
    """Ask once whether pieces that are left over (lots and millionths) are missing in the pump: it is not closed."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return list(PumpQuestion.objects.filter(key=key))
        held = Job.objects.select_for_update().get(pk=job.pk)
        refuse_quiet_job(held)
        lies: dict[int, int] = defaultdict(int)
        for balance in bag_balances(held):
            lies[balance.lot_id] += balance.quantity
        asked = set(open_questions(held).values_list("lot", flat=True))
        if any(quantity <= 0 or quantity > lies[lot] for lot, quantity in forgotten):
            raise PickRefusal(f"The bag of {held} does not hold so many by now: look at it again.")
        return PumpQuestion.objects.bulk_create(
            [
                PumpQuestion(job=held, lot_id=lot, quantity=quantity, key=key, by=by, at=at)
                for lot, quantity in forgotten
                if lot not in asked
            ]
        )


def answer_about_pump(*, question: PumpQuestion, answer: PumpAnswer, by: User, at: datetime, key: str) -> PumpQuestion:
    """Say once what was found when somebody looked into the pump."""
    with transaction.atomic(durable=True):
        mark_shop()
        if log_request(key):
            said = {"answer": answer, "answered_by": by, "answered_at": at}
            if not PumpQuestion.objects.filter(pk=question.pk, answered_at__isnull=True).update(**said):
                raise PickRefusal(f"Somebody has answered that about {question.lot} by now: look at the page again.")
        question.refresh_from_db()
        return question


def open_questions(job: Job) -> QuerySet[PumpQuestion]:
    """What nobody has looked for in the pump of a job yet."""
    return PumpQuestion.objects.filter(job=job, answered_at__isnull=True).select_related("lot__item", "by")


def question_says(question: PumpQuestion) -> str:
    """What may be missing in the pump."""
    named = f"{question.amount.text} of {question.lot.item}, lot {question.lot.lot}"
    return f"{named}, may have been forgotten when the pump was built"


def _last_use(row: Balance, packed: Mapping[int, date]) -> date:
    return earliest(row.lot.last_use_on, packed.get(row.lot_id)) or date.max
