"""The time-phased record of one item, made from a plan: needed, coming, left, by working day or by week.

The plan serves dated pieces one by one; the record adds them up in buckets and nets each bucket, as a planner does on
paper (`bom.questions.record`). `reconcile` holds the two against each other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from bom.plan import Plan
from bom.questions.record import LOT_FOR_LOT, Buckets, Holding, LotRule, Record, work_out_record
from bom.structure.arrays import as_date
from bom.structure.tables import Bools
from bom.supply.matching import PACKED, UNCOVERED
from bom.values import ONE

DAYS_IN_A_WEEK = 7
PACKED_HERE = ("pack", "make")


@dataclass(frozen=True, slots=True)
class ItemRecord:
    """One item's record over the whole plan, from today to the last day on which anything is needed or promised.

    Quantities are millionths of the stock unit. ``starts`` are the first days of the buckets: working days, or Mondays.
    What falls on a closed day stands in the bucket of the next working day, what is overdue in the first one.

    Parameters
    ----------
    sure, passed_down, wear : the gross requirements, apart: asked for directly, by what is packed or made here, and by
        planned wear, directly or passed down
    lead_days : working days that replenishment takes, as the plan chose it; None when unknown, and then taken as none
    restricted : on hand, but not for every job that asks: reserved or bagged, with an owner, dying before the last
        build day, or in an opened packet where a clean kit asks; the record counts it like the rest
    """

    part_number: str
    starts: tuple[date, ...]
    sure: Buckets
    passed_down: Buckets
    wear: Buckets
    holding: Holding
    record: Record
    lead_days: int | None
    restricted: int

    @property
    def total_net(self) -> int:
        """All net requirements, in millionths."""
        return sum(self.record.net)


@dataclass(frozen=True, slots=True)
class Reconciliation:
    """The sure needs of one item in the record, lot-for-lot without wear or safety stock, and in the plan; millionths.

    The record nets every bucket by what has come until then; the plan would rather wait for a late order than buy a
    second time. So ``net`` lies between ``uncovered`` and ``uncovered + late``, and ``net_if_hurried``, with every
    order pulled forward to today, is ``uncovered`` itself.

    Parameters
    ----------
    uncovered : what the plan leaves uncovered, with what is packed or made here
    late : what the plan serves from orders promised after the need date
    restricted : on hand, but not for every job; where it is not nil, the plan may leave more uncovered
    """

    net: int
    net_if_hurried: int
    uncovered: int
    late: int
    restricted: int

    @property
    def agrees(self) -> bool:
        """Whether record and plan say the same, apart from the lots that not every job may have."""
        same = self.net_if_hurried == self.uncovered and self.uncovered <= self.net <= self.uncovered + self.late
        return same or (self.restricted > 0 and self.net_if_hurried <= self.uncovered)


def item_record(
    plan: Plan,
    part_number: str,
    *,
    by_week: bool = True,
    lots: LotRule | None = None,
    safety_stock: int | None = None,
    with_wear: bool = True,
) -> ItemRecord:
    """Work out the record of one item.

    Parameters
    ----------
    plan : the finished plan
    part_number : part number of an item of the catalog
    by_week : buckets of calendar weeks from Monday on; else of single working days
    lots : lot rule; the one of the offer that the plan chose if it is left out (minimum and multiple in packs), or
        lot-for-lot for what is packed or made here
    safety_stock : millionths; the item's own if it is left out
    with_wear : count planned wear among the gross requirements

    Raises
    ------
    KeyError
        If the part is not among the items.
    """
    item = plan.demand.structure.index[part_number]
    held = plan.demand.structure.items[item]
    lead_days, own_lots = _replenishment(plan, item)
    lead, week_days = lead_days or 0, sum(plan.shop.workdays)
    bucket_of = _week_of(plan) if by_week else _day_of(plan)
    sure, passed_down, wear, scheduled = _in_buckets(plan, item, bucket_of, with_wear)
    holding = Holding(
        on_hand=int(plan.supplies.on_hand[item]),
        scheduled=scheduled,
        safety_stock=held.safety_stock if safety_stock is None else safety_stock,
        lead_buckets=-(-lead // week_days) if by_week else lead,
        lots=own_lots if lots is None else lots,
    )
    return ItemRecord(
        part_number=part_number,
        starts=_starts(plan, len(sure), by_week),
        sure=sure,
        passed_down=passed_down,
        wear=wear,
        holding=holding,
        record=work_out_record(tuple(map(sum, zip(sure, passed_down, wear, strict=True))), holding),
        lead_days=lead_days,
        restricted=_restricted(plan, item),
    )


def reconcile(plan: Plan, part_number: str, *, by_week: bool = False) -> Reconciliation:
    """Hold the record of one item's sure needs against what the plan says of them.

    Parameters
    ----------
    plan : the finished plan
    part_number : part number of an item of the catalog
    by_week : buckets of weeks; else of single working days
    """
    item = plan.demand.structure.index[part_number]
    found = item_record(plan, part_number, by_week=by_week, lots=LOT_FOR_LOT, safety_stock=0, with_wear=False)
    hurried = replace(found.holding, scheduled=(sum(found.holding.scheduled),))
    pieces, draws = plan.netting.pieces, plan.netting.draws
    mine = (pieces.item[draws.piece] == item) & ~pieces.wear[draws.piece]
    made_up = mine & ((draws.supply == UNCOVERED) | (draws.supply == PACKED))
    return Reconciliation(
        net=found.total_net,
        net_if_hurried=sum(work_out_record(found.record.gross, hurried).net),
        uncovered=int(draws.quantity[made_up].sum()),
        late=int(draws.quantity[mine & plan.found.late_draw].sum()),
        restricted=found.restricted,
    )


def _dated(plan: Plan, chosen: Bools) -> list[tuple[date, int]]:
    """Need date and quantity of the chosen pieces."""
    pieces = plan.netting.pieces
    days, quantities = pieces.need_day[chosen].tolist(), pieces.quantity[chosen].tolist()
    return [(as_date(day), quantity) for day, quantity in zip(days, quantities, strict=True)]


def _in_buckets(
    plan: Plan, item: int, bucket_of: Callable[[date], int], with_wear: bool
) -> tuple[Buckets, Buckets, Buckets, Buckets]:
    """What is asked for directly, by what is packed or made here, by wear, and what is promised, bucket by bucket."""
    pieces, part_number = plan.netting.pieces, plan.demand.structure.items[item].part_number
    mine = pieces.item == item
    sure = _dated(plan, mine & ~pieces.wear & (pieces.way < 0))
    passed_down = _dated(plan, mine & ~pieces.wear & (pieces.way >= 0))
    wear = _dated(plan, mine & pieces.wear) if with_wear else []
    orders = [(line.promised, line.quantity) for line in plan.shop.orders if line.part_number == part_number]
    count = 1 + max((bucket_of(on) for on, _ in (*sure, *passed_down, *wear, *orders)), default=0)
    of_sure, of_contents, of_wear, of_orders = (
        _filled(dated, bucket_of, count) for dated in (sure, passed_down, wear, orders)
    )
    return of_sure, of_contents, of_wear, of_orders


def _filled(dated: Iterable[tuple[date, int]], bucket_of: Callable[[date], int], count: int) -> Buckets:
    filled = [0] * count
    for on, quantity in dated:
        filled[bucket_of(on)] += quantity
    return tuple(filled)


def _day_of(plan: Plan) -> Callable[[date], int]:
    """The number of a day's bucket, counting working days from the first one that is not before today."""
    first = plan.calendar.on_or_after(plan.shop.as_of)
    return lambda on: plan.calendar.between(first, on)


def _week_of(plan: Plan) -> Callable[[date], int]:
    """The number of a day's week, from that of the first working day that is not before today."""
    first = plan.calendar.on_or_after(plan.shop.as_of)
    monday = _monday(first)
    return lambda on: (_monday(plan.calendar.on_or_after(max(on, first))) - monday).days // DAYS_IN_A_WEEK


def _starts(plan: Plan, count: int, by_week: bool) -> tuple[date, ...]:
    first = plan.calendar.on_or_after(plan.shop.as_of)
    if by_week:
        return tuple(_monday(first) + timedelta(days=DAYS_IN_A_WEEK * number) for number in range(count))
    return tuple(plan.calendar.forward(first, number) for number in range(count))


def _monday(on: date) -> date:
    return on - timedelta(days=on.weekday())


def _replenishment(plan: Plan, item: int) -> tuple[int | None, LotRule]:
    """Working days and lot rule by which the plan makes up what is short of an item."""
    held = plan.demand.structure.items[item]
    row = next((row for row in plan.buy if row.item == item), None)
    packed_here = held.source in PACKED_HERE or (held.source == "pack_else_buy" and row is None)
    if packed_here and plan.demand.structure.has_contents(item):
        return held.lead_days, LOT_FOR_LOT
    purchase = row.purchase if row else plan.book.choose(item, ONE, None)
    chosen = (purchase.supplier or "", purchase.supplier_part_number or "", purchase.pack_size)
    for quote in plan.book.quotes(item):
        if (quote.supplier, quote.supplier_part_number, quote.pack_size) == chosen:
            minimum, multiple = quote.minimum_packs * quote.pack_size, quote.multiple_packs * quote.pack_size
            return purchase.lead_days, LotRule(minimum=minimum, multiple=multiple)
    return purchase.lead_days, LOT_FOR_LOT


def _restricted(plan: Plan, item: int) -> int:
    """On hand less what lies in lots that serve every job and are nobody's, in millionths."""
    supplies, draws, pieces = plan.supplies, plan.netting.draws, plan.netting.pieces
    clean = bool(supplies.clean[pieces.way[pieces.item == item]].any())
    free = 0
    for supply in range(int(supplies.first[item]), int(supplies.first[item + 1])):
        lasts = supplies.last_day[supply] >= plan.netting.last_build_day
        for_all = not supplies.owner[supply] and not (clean and supplies.opened[supply])
        if supplies.lot_place[supply] >= 0 and lasts and for_all:
            free += int(supplies.left[supply]) + int(draws.quantity[draws.supply == supply].sum())
    return int(supplies.on_hand[item]) - free
