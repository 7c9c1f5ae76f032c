"""How pieces are counted out in whole packs: only where the shop knows how many a pack of the lot holds."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping

from django.db.models import Sum

from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.picking.models import PickLine
from kits.purchasing.models import Offer, Receipt
from kits.stock.models import Balance
from kits.stock.words import Condition, Packet


def pack_sizes(lines: Collection[PickLine]) -> dict[int, int]:
    """Return the millionths in one pack, by lot; lots whose packs are not known are left out; two statements.

    A lot that came on an order is in packs of its supplier, any other in those of whoever offers the item. Where these
    offer it in packs of several sizes, nobody knows in which it came.
    """
    items = {line.lot_id: line.lot.item_id for line in lines if line.lot.item.countable}
    received = Receipt.objects.filter(posting__movements__balance__lot__in=items, quantity__gt=0)
    came_from: dict[int, set[int]] = defaultdict(set)
    for lot, supplier in received.values_list("posting__movements__balance__lot", "order_line__supplier").distinct():
        came_from[lot].add(supplier)
    offered: dict[int, dict[int, set[int]]] = defaultdict(lambda: defaultdict(set))
    offers = Offer.objects.filter(item__in=set(items.values()))
    for item, supplier, size in offers.values_list("item", "supplier", "pack_size").distinct():
        offered[item][supplier].add(size)
    sizes = {lot: _sizes(offered[item], came_from[lot]) for lot, item in items.items()}
    return {lot: min(one) for lot, one in sizes.items() if len(one) == 1 and min(one) > ONE}


def opened_at(lines: Collection[PickLine]) -> Mapping[tuple[int, int], int]:
    """Return the millionths that lie in opened packets, by lot and place; one statement."""
    rows = (
        Balance.objects.filter(
            lot__in={line.lot_id for line in lines},
            job__isnull=True,
            condition=Condition.USABLE,
            packet__in=(Packet.RESEALED, Packet.LOOSE),
        )
        .values_list("lot", "place")
        .annotate(held=Sum("quantity"))
    )
    return {(lot, place): held for lot, place, held in rows if place is not None and held > 0}


def packs_say(asked: int, opened: int, pack: int | None) -> str:
    """Return how to count pieces out: ``2 bags of 10 + 3 loose``; empty where no whole pack is taken.

    Opened packets are used up first, as everywhere.
    """
    if pack is None:
        return ""
    loose = min(asked, opened)
    bags, rest = divmod(asked - loose, pack)
    if not bags:
        return ""
    bags_say = f"{bags} bag{'' if bags == 1 else 's'} of {Amount(pack).figure}"
    return f"{bags_say} + {Amount(loose + rest).figure} loose" if loose + rest else bags_say


def _sizes(offered: Mapping[int, set[int]], came_from: Collection[int]) -> set[int]:
    known = [sizes for supplier, sizes in offered.items() if not came_from or supplier in came_from]
    return set().union(*known)
