"""What a finished plan has to buy, who waits for it, and what can stand for what: kits, assemblies, loose parts."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

import numpy as np

from bom.buying.leads import NEVER
from bom.buying.order_size import PackOffer
from bom.plan import Plan
from bom.questions.bids.values import Want, Whole
from bom.questions.kits.market import Market, missing_kits, openable_assemblies, openable_kits
from bom.structure.arrays import as_date
from bom.supply.matching import NOBODY, UNCOVERED


@dataclass(frozen=True, slots=True)
class Waiting:
    """A job or other need that waits for a part that nothing covers, and the day by which the part has to be here."""

    name: str
    need_on: date


@dataclass(frozen=True)
class BuyingList:
    """What has to be bought, by part number, with what can stand for it.

    ``shelf`` are millionths that lie there free for kits that are put together.
    """

    wants: tuple[Want, ...]
    wholes: tuple[Whole, ...]
    shelf: dict[str, int]
    waiting: dict[str, tuple[Waiting, ...]]


def buying_list(plan: Plan) -> BuyingList:
    """Read what is to be ordered now out of a plan; wear that waits for the strip-down is no order yet.

    Parameters
    ----------
    plan : the finished plan
    """
    market, items = Market(plan), plan.demand.structure.items
    waiting = _waiting(plan)
    wants = []
    for row in plan.buy:
        quantity = row.net if row.wear_advice is None else row.short + row.top_up
        need_on = row.need_on if row.short or row.wear_advice is None else None
        if quantity:
            day = None if need_on is None or need_on >= NEVER else as_date(need_on)
            number = items[row.item].part_number
            wants.append(Want(number, quantity, day, len(waiting.get(number, ()))))
    wholes, shelf = _wholes(market)
    return BuyingList(tuple(wants), wholes, shelf, waiting)


def day_if_ordered_today(plan: Plan, quote: PackOffer) -> date | None:
    """The day on which an order of today is at our door, by the lead time on record; None when nobody knows it.

    Parameters
    ----------
    plan : the finished plan
    quote : what a supplier offers
    """
    day = plan.book.leads.arrival(quote.lead)
    return None if day is None or day >= NEVER else as_date(day)


def _waiting(plan: Plan) -> dict[str, tuple[Waiting, ...]]:
    """Who waits for which part, by the first day of need of each."""
    pieces, draws = plan.netting.pieces, plan.netting.draws
    rows = np.flatnonzero((draws.supply == UNCOVERED) & ~pieces.wear[draws.piece])
    found: dict[str, dict[str, date]] = defaultdict(dict)
    for piece in draws.piece[rows].tolist():
        job = int(pieces.job[piece])
        if job != NOBODY:
            number = plan.demand.structure.items[int(pieces.item[piece])].part_number
            name, day = plan.demand.askers[job].name, as_date(int(pieces.need_day[piece]))
            found[number][name] = min(day, found[number].get(name, day))
    return {
        number: tuple(Waiting(name, day) for day, name in sorted((day, name) for name, day in days.items()))
        for number, days in found.items()
    }


def _wholes(market: Market) -> tuple[tuple[Whole, ...], dict[str, int]]:
    """Missing kits that may be put together; kits and assemblies that may be taken apart; one rule for each number."""
    items = market.structure.items
    made: dict[int, tuple[dict[int, int], int, int]] = {}
    builds: dict[int, int] = defaultdict(int)
    for missing in missing_kits(market, also_bought=False):
        inside, count, packing = made.get(missing.kit, (missing.inside, 0, 0))
        if inside == missing.inside:  # of one number put together in two ways only the first is looked at
            made[missing.kit] = (inside, count + missing.count, max(packing, missing.packing))
            for part in inside:
                builds[part] = max(builds[part], missing.build_day)
    opened = openable_kits(market) | openable_assemblies(market)
    wholes = []
    for kit in sorted({*made, *opened}, key=market.structure.name_rank.__getitem__):
        inside, count, packing = made.get(kit, (opened.get(kit, {}), 0, 0))
        held = {items[part].part_number: each for part, each in inside.items()}
        wholes.append(Whole(items[kit].part_number, held, count, packing, may_open=kit in opened and kit not in made))
    shelf = {items[part].part_number: _free(market, part, day) for part, day in builds.items()}
    return tuple(wholes), {part: quantity for part, quantity in shelf.items() if quantity}


def _free(market: Market, part: int, build_day: int) -> int:
    """What lies there free and lives to a build day, less what the safety stock keeps."""
    supplies = market.plan.supplies
    free = sum(int(supplies.left[lot]) for lot in market.free_lots(part) if supplies.last_day[lot] >= build_day)
    may_take = market.may_take(part)
    return free if may_take is None else min(free, may_take)
