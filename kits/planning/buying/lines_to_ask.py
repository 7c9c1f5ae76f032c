"""What suppliers may be asked for: the lines to order, each with who has offered it and how old its pieces may be."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from kits.catalog.amounts import Amount
from kits.planning.buying.pace import Pace, over_of, over_says, paces
from kits.planning.lists.due_list import SURE, DueLine, due_list
from kits.planning.queries import reading_of
from kits.purchasing.models import Offer, RequestLine


@dataclass(frozen=True, slots=True)
class LineToAsk:
    """A line that is short: ``offered_by`` are the suppliers with an offer on record, ``asked_in`` open requests."""

    due: DueLine
    wanted_on: date | None
    oldest_cure: str
    offered_by: tuple[str, ...]
    asked_in: tuple[str, ...]
    over: str

    @property
    def name(self) -> str:
        """What tells this line from the others in a form."""
        return self.due.name

    @property
    def short(self) -> Amount:
        """How much is short."""
        return self.due.short

    @property
    def is_ticked(self) -> bool:
        """Whether it is asked for unless somebody takes the tick away: what is sure, and not asked for already."""
        return self.due.why == SURE and not self.asked_in


def lines_to_ask(plan: Plan) -> tuple[LineToAsk, ...]:
    """Every line to order, what is sure first, then top-ups and wear, the most urgent first; nine statements."""
    cures = {row.part_number: row.oldest_cure for row in reading_of(plan).purchases}
    lines = due_list(plan)
    items = {line.item_id for line in lines}
    offered: dict[int, list[str]] = defaultdict(list)
    pairs = Offer.objects.filter(item__in=items).order_by("supplier__folded")
    for item, supplier in pairs.values_list("item", "supplier__supplier").distinct():
        offered[item].append(supplier)
    asked: dict[tuple[int, str], list[str]] = defaultdict(list)
    open_ones = RequestLine.objects.filter(item__in=items, request__withdrawn_at=None, reply_lines=None)
    for item, why, number in open_ones.order_by("request__folded").values_list("item", "why", "request__number"):
        asked[item, why].append(number)
    today = plan.shop.as_of
    known = paces({line.part_number for line in lines}, today)
    return tuple(
        LineToAsk(
            due=line,
            wanted_on=None if line.need_on is None else max(line.need_on, today),
            oldest_cure="" if cures[line.part_number] is None else str(cures[line.part_number]),
            offered_by=tuple(offered[line.item_id]),
            asked_in=tuple(asked[line.item_id, line.why]),
            over=_over(line, known[line.part_number], today),
        )
        for line in sorted(lines, key=lambda line: line.why != SURE)
    )


def _over(line: DueLine, pace: Pace, today: date) -> str:
    """What the packs of the plan's own offer bring beyond the need, and whether it will be used while it may be."""
    beyond = max(0, line.quantity.millionths - line.short.millionths)
    return over_says(pace, over_of(pace, beyond, line.here_on, line.need_on, today), today)
