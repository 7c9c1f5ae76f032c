"""Deliveries that are older than was asked for when they were bought: for which builds, and whom they leave short."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import date

from django.db.models import Max

from bom.errors import BomError
from bom.questions.old_lots import OldLot, old_lots
from bom.values import Lot as PlannedLot
from bom.values import OrderLine as PlannedOrder
from bom.values import Shop
from kits.catalog.amounts import Amount
from kits.catalog.models import Item
from kits.planning.queries import plan_now, reading_of
from kits.planning.words.item_names import item_names
from kits.purchasing.models import OrderLine
from kits.purchasing.receiving.checks import DeliveredLot
from kits.purchasing.receiving.life import AskedLife, life_of
from kits.schedule.models import Job, OtherNeed
from kits.stock.models import Lot


def asked_of_delivery(
    item: Item, line: OrderLine | None, lots: Sequence[DeliveredLot], *, today: date
) -> dict[int, AskedLife]:
    """What is asked of those lots of a delivery that do not last to it, by their place in it.

    What comes without an order is held against the open orders of the part all the same, the first promised first. A
    plan is made only where a lot dies before the last build; where the lists allow none, nothing is asked.
    """
    coming = [_as_planned(item, lot, today) for lot in lots]
    end = _latest_day()
    if all(lot.last_use is None or lot.last_use >= end for lot in coming):
        return {}
    try:
        now = plan_now(today)
        orders = _less(now.shop.orders, item.part_number, sum(lot.quantity for lot in lots), line)
        found = old_lots(replace(now.shop, orders=orders, stamp=""), coming, reading_of(now).lists.compiled)
    except BomError:
        return {}
    return {one.place: _asked(one, item.stock_unit) for one in found}


def asked_of_lots(
    shop: Shop, names: Collection[tuple[str, str]], *, with_orders: bool
) -> Mapping[tuple[str, str], AskedLife]:
    """The same of lots that a list has brought and the shop holds already, by part number and lot.

    ``with_orders`` says that the list brought the orders as well, which then are what is still to come.
    """
    new = [lot for lot in shop.lots if (lot.part_number, lot.lot) in names]
    rest = tuple(lot for lot in shop.lots if (lot.part_number, lot.lot) not in names)
    orders = shop.orders
    for lot in () if with_orders else new:
        orders = _less(orders, lot.part_number, lot.quantity)
    found = old_lots(replace(shop, lots=rest, orders=orders, stamp=""), new)
    units = item_names({new[one.place].part_number for one in found})
    return {
        (lot.part_number, lot.lot): _asked(one, units[lot.part_number].unit)
        for one in found
        for lot in (new[one.place],)
    }


def _latest_day() -> date:
    builds = Job.objects.asking().aggregate(latest=Max("build_on"))["latest"]
    needs = OtherNeed.objects.aggregate(latest=Max("need_on"))["latest"]
    return max(filter(None, (builds, needs)), default=date.min)


def _as_planned(item: Item, lot: DeliveredLot, today: date) -> PlannedLot:
    known = Lot.objects.by_code(item, lot.code) if lot.code else None
    return PlannedLot(
        part_number=item.part_number,
        lot=lot.code,
        quantity=lot.quantity,
        condition=lot.condition,
        last_use=life_of(item, lot.facts, known, today).end,
        received=lot.facts.received_on or today,
        owner=lot.facts.owner,
    )


def _less(
    orders: Sequence[PlannedOrder], part_number: str, came: int, line: OrderLine | None = None
) -> tuple[PlannedOrder, ...]:
    """The open orders once what came of a part is taken off its line, or off all that may have brought it."""
    left = []
    for one in orders:
        brings = one.part_number == part_number and (line is None or (one.order, one.line) == (line.order, line.line))
        taken = min(came, one.quantity) if brings else 0
        came -= taken
        if taken < one.quantity:
            left.append(replace(one, quantity=one.quantity - taken))
    return tuple(left)


def _asked(one: OldLot, unit: str) -> AskedLife:
    short = tuple((name, Amount.of(quantity, unit)) for name, quantity in one.leaves_short)
    return AskedLife(one.latest_build, "" if one.oldest_cure is None else str(one.oldest_cure), short)
