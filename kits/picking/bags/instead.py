"""In the place of a part that a bag lacks: what may go there, out of which packet, and how many are lacking."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Sum

from bom.plan import Plan
from kits.catalog.amounts import Amount
from kits.catalog.fields import quantity_text
from kits.catalog.models import Item
from kits.catalog.words import Cleanliness
from kits.picking.bags.counter import CounterRow, counter_rows
from kits.picking.bags.tags import check_of
from kits.picking.errors import PickRefusal
from kits.picking.models import PickShare
from kits.picking.stand_ins.allowed import may_stand_in
from kits.picking.stand_ins.given import GivenRow, given_rows
from kits.picking.words import CLASS_SAYS, LineState, RoundState
from kits.planning.queries import plan_now
from kits.schedule.models import Job

REASONS = ("none of it is left", "what lay there is damaged", "what is ordered comes too late")
"""Why another part goes in, each on a button of its own; another reason is written."""


@dataclass(frozen=True, slots=True)
class InsteadRow:
    """One packet out of which pieces may stand in; ``most`` is how many of them are lacking and lie there."""

    at: CounterRow
    allowed_by: str
    note: str
    most: Amount


@dataclass(frozen=True, slots=True)
class InsteadSheet:
    """What a job ``lacks`` of a part, what may stand in for that, and what does already."""

    job: Job
    wanted: Item
    as_of: date
    lacks: Amount
    rows: tuple[InsteadRow, ...]
    given: tuple[GivenRow, ...]


def lacking(plan: Plan, job: Job, wanted: Item) -> int:
    """How many millionths of a part a bag lacks that no open line of a round is to bring."""
    check = check_of(plan, job)
    missing = check.missing.get(wanted.part_number, 0) if check else 0
    shares = PickShare.objects.filter(line__state=LineState.OPEN, line__pick_round__state=RoundState.RUNNING)
    coming = shares.filter(bag__job=job, line__lot__item=wanted).aggregate(asked=Sum("asked"))["asked"] or 0
    return max(0, missing - coming)


def instead_sheet(plan: Plan, job: Job, wanted: Item) -> InsteadSheet:
    """What may go into the bag of a job in the place of a part; twelve statements or fewer."""
    lacks, allowed = lacking(plan, job, wanted), {other.pk: row for row, other in may_stand_in(wanted)}
    found = counter_rows(job, plan.shop.as_of, allowed) if allowed else ()
    rows = []
    for item_id, row in found:
        most = min(lacks, row.free.millionths)
        if most > 0:
            by = allowed[item_id]
            rows.append(InsteadRow(row, by.approved_by, by.note, Amount.of(most, wanted.stock_unit)))
    given = tuple(one for one in given_rows([job]) if one.wanted == wanted.part_number)
    return InsteadSheet(job, wanted, plan.shop.as_of, Amount.of(lacks, wanted.stock_unit), tuple(rows), given)


def refuse_instead(job: Job, wanted: Item, item: Item) -> None:
    """Refuse what nobody allowed in the place of a part, the other way round included, and what is not of its class."""
    if item.pk not in {other.pk for _, other in may_stand_in(wanted)}:
        raise PickRefusal(
            f"{item} is not allowed in the place of {wanted}: take what is, or ask the service lead, who keeps the "
            "list of substitutes."
        )
    if job.cleanliness != Cleanliness.NORMAL and item.cleanliness not in (job.cleanliness, wanted.cleanliness):
        is_of, asks = CLASS_SAYS[Cleanliness(item.cleanliness)], CLASS_SAYS[Cleanliness(wanted.cleanliness)]
        raise PickRefusal(f"{item} is {is_of}, and {wanted} for {job} is {asks}: take one of its class.")


def refuse_more(job: Job, wanted: Item, quantity: int) -> None:
    """Refuse more than the bag lacks at this moment; the plan of it is asked for while nobody else writes."""
    lacks = lacking(plan_now(), job, wanted)
    if quantity > lacks:
        raise PickRefusal(
            f"The bag of {job} lacks {quantity_text(lacks)} of {wanted} by now, so {quantity_text(quantity)} cannot "
            "stand in: look at its bag again."
        )
