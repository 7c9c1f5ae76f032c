"""When an old number is used up: how long the shelf and the orders serve what is planned, and who has it already."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.reading import ServedBy
from bom.values import ASKING_STAGES
from kits.catalog.amounts import Amount
from kits.catalog.models import Item
from kits.planning.queries import reading_of
from kits.stock.models import Balance
from kits.stock.words import HeldAs

FROM_SHELF = (ServedBy.BAG, ServedBy.RESERVED, ServedBy.LOT)


@dataclass(frozen=True, slots=True)
class ChangeOver:
    """How long an old number lasts.

    ``short_on`` is the first build day that it does not last to, None where it lasts for everything planned, which ends
    on ``last_on``. ``tied`` are the jobs that have some of it, or a verdict on it, the last of them built on
    ``tied_to``. ``day`` is the first build day for the new number that leaves all of these alone.
    """

    free: Amount
    short_on: date | None
    last_on: date | None
    tied: tuple[str, ...]
    tied_to: date | None
    day: date


def change_over(plan: Plan, part: Item) -> ChangeOver:
    """When a part is used up by what is planned; one statement."""
    reading, shop, number = reading_of(plan), plan.shop, part.part_number
    pieces = [piece for piece in reading.pieces_of_part(number) if not piece.wear]
    days = [piece.build_on for piece in pieces]
    short = [
        piece.build_on
        for piece in pieces
        if any(one.source not in FROM_SHELF and (one.order is None or one.late) for one in piece.served)
    ]
    builds = {job.job: job.build_on for job in shop.jobs if job.stage in ASKING_STAGES}
    has = {one.job for one in shop.issues if one.part_number == number and one.state == "reserved"}
    # What stands in for another part is told as that part: here it counts as what it is.
    bags = Balance.objects.of_jobs().filter(lot__item=part, quantity__gt=0).exclude(state=HeldAs.EXTRA)
    has |= set(bags.values_list("job__job", flat=True))
    has |= {one.job for one in shop.verdicts if one.part_number == number}
    tied = sorted((builds[job], job) for job in has if job in builds)
    first, last = min(short, default=None), max(days, default=None)
    after = plan.calendar.forward
    day = first or (after(last, 1) if last else shop.as_of)
    day = max(day, shop.as_of, *(after(built, 1) for built, _ in tied))
    return ChangeOver(
        free=Amount.of(reading.unclaimed(number), part.stock_unit),
        short_on=first,
        last_on=last,
        tied=tuple(job for _, job in tied),
        tied_to=tied[-1][0] if tied else None,
        day=day,
    )
