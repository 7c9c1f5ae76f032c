"""What kits and loose parts can be bought for, what lies there free, and which kits are missing.

This is what `kit_or_loose` chooses from.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import NamedTuple

import numpy as np

from bom.buying.leads import NEVER
from bom.buying.order_size import PackOffer, Purchase
from bom.buying.purchases import BuyRow
from bom.demand.kit_cover import inside_one
from bom.plan import Plan
from bom.questions.kits.proposals import assemblies_by_part, clean_enough, kits_by_part
from bom.structure.arrays import as_date, day_number
from bom.supply.matching import UNCOVERED
from bom.values import ONE

NEVER_TOUCHED = ("pack", "make")
"""Sources whose safety stock is not bought."""


@dataclass(frozen=True)
class MarketRow:
    """An item on the market. Millionths and day numbers.

    ``net`` is bought as the plan lists it, ``short`` of it sure; ``limit`` is the day by which that has to be here.
    ``quotes`` may be ordered from: priced, valid, in our money and not after the limit. Without any, the ``listed``
    purchase stands as it is, with what is over of it.
    """

    item: int
    net: int
    short: int
    limit: int
    quotes: tuple[PackOffer, ...]
    listed: Purchase | None

    @property
    def over(self) -> int:
        """What is left of the listed purchase."""
        return self.listed.order_quantity - self.net if self.listed else 0

    @property
    def arrives_on(self) -> int:
        """When the listed purchase is here."""
        return known_day(self.listed.arrives_on) if self.listed else NEVER


def known_day(day: int | None) -> int:
    """A day number, ``NEVER`` for None.

    Parameters
    ----------
    day : day number, None when not known
    """
    return NEVER if day is None else day


def _to_order(row: BuyRow) -> int:
    """What is to be ordered now: wear that waits for the strip-down, or to be found first, is no order yet."""
    return row.net if row.wear_advice is None else row.short + row.top_up


class Market:
    """What can be bought of each item, and what lies there free."""

    def __init__(self, plan: Plan) -> None:
        self.plan, self.structure = plan, plan.demand.structure
        self.listed = {row.item: row for row in plan.buy}
        self._rows: dict[int, MarketRow] = {}
        self._packed_on: dict[tuple[int, int], int] = {}
        self._inside: dict[tuple[int, int], dict[int, int]] = {}

    def arrival(self, quote: PackOffer) -> int:
        """Day number on which an order of today is here; ``NEVER`` when not known.

        Parameters
        ----------
        quote : what a supplier offers
        """
        return known_day(self.plan.book.leads.arrival(quote.lead))

    def row(self, item: int) -> MarketRow:
        """The item on the market.

        Parameters
        ----------
        item : number of the item
        """
        if item not in self._rows:
            self._rows[item] = self._make_row(item)
        return self._rows[item]

    def _make_row(self, item: int) -> MarketRow:
        quotes = [
            quote
            for quote in self.plan.book.quotes(item)
            if quote.supplier and not quote.expired and quote.price_for(quote.minimum_packs) is not None
        ]
        listed = self.listed.get(item)
        net = 0 if listed is None else _to_order(listed)
        if listed is None or not net:
            return MarketRow(item, 0, 0, NEVER, tuple(quotes), None)
        purchase = listed.purchase
        need_on = listed.need_on
        if net != listed.net:
            need_on = listed.need_on if listed.short else None
            purchase = self.plan.book.choose(item, net, need_on)
        limit = NEVER if need_on is None else max(need_on, known_day(purchase.arrives_on))
        fitting = tuple(quote for quote in quotes if self.arrival(quote) <= limit)
        return MarketRow(item, net, listed.short, limit, fitting, purchase)

    def packed_on(self, arrives_on: int, packing: int) -> int:
        """When parts that come on a day are put together.

        Parameters
        ----------
        arrives_on : day number
        packing : working days that packing takes
        """
        if arrives_on >= NEVER:
            return NEVER
        key = (arrives_on, packing)
        if key not in self._packed_on:
            self._packed_on[key] = day_number(self.plan.calendar.forward(as_date(arrives_on), packing))
        return self._packed_on[key]

    def inside(self, kit: int, condition: int) -> dict[int, int]:
        """What one kit holds for a job that meets a row of conditions, in millionths by part.

        Parameters
        ----------
        kit : its item number
        condition : row of the conditions that the contents have to meet
        """
        key = (kit, condition)
        if key not in self._inside:
            self._inside[key] = inside_one(self.structure, self.plan.demand.conditions, kit, condition)
        return self._inside[key]

    def free_lots(self, item: int) -> list[int]:
        """Supply numbers of the shop's own lots with something left once everything is served.

        Parameters
        ----------
        item : number of the item
        """
        supplies = self.plan.supplies
        return [
            supply
            for supply in range(int(supplies.first[item]), int(supplies.first[item + 1]))
            if supplies.lot_place[supply] >= 0 and supplies.left[supply] > 0 and not supplies.owner[supply]
        ]

    def may_take(self, item: int) -> int | None:
        """What may be taken off the shelf without touching the safety stock; None when it keeps none.

        Parameters
        ----------
        item : number of the item
        """
        held = self.structure.items[item]
        if not held.safety_stock or held.source in NEVER_TOUCHED or held.bench:
            return None
        return max(0, int(self.plan.netting.supply_left_for_stock[item]) - held.safety_stock)


class AskingPiece(NamedTuple):
    """A piece of the plan by its number, and how many kits it asks for."""

    piece: int
    kits: int


@dataclass(frozen=True)
class MissingKit:
    """Whole kits that nothing covers, alike in everything that decides whether they can be put together.

    ``pieces`` ask for it, the one that is served first in front; ``inside`` is what one kit holds. A kit has to be here
    on ``need_day``, and ``packing`` is the working days that putting it together takes.
    """

    pieces: tuple[AskingPiece, ...]
    kit: int
    need_day: int
    build_day: int
    packing: int
    inside: dict[int, int]

    @property
    def count(self) -> int:
        """How many kits."""
        return sum(asking.kits for asking in self.pieces)


def missing_kits(market: Market, also_bought: bool) -> list[MissingKit]:
    """The missing kits that could be put together instead: bought at a known price, with contents that are fit.

    Kits with the source ``buy`` are among them only with ``also_bought``.

    Parameters
    ----------
    market : what can be bought, and what lies there free
    also_bought : look at kits too that the shop always buys
    """
    sources = ("buy", "pack_else_buy") if also_bought else ("pack_else_buy",)
    structure = market.structure
    pieces, draws = market.plan.netting.pieces, market.plan.netting.draws
    missing = (draws.supply == UNCOVERED) & ~pieces.wear[draws.piece] & structure.is_kit[pieces.item[draws.piece]]
    found = []
    for row in np.flatnonzero(missing).tolist():
        piece, count = int(draws.piece[row]), int(draws.quantity[row]) // ONE
        kit = int(pieces.item[piece])
        source = structure.items[kit].source
        if source not in sources or not count or not market.row(kit).quotes:
            continue
        inside = market.inside(kit, int(pieces.condition[piece]))
        if inside and clean_enough(structure, kit, inside):
            packing = (structure.items[kit].lead_days or 0) if source == "pack_else_buy" else 0
            need, build = int(pieces.need_day[piece]), int(pieces.build_day[piece])
            found.append(MissingKit((AskingPiece(piece, count),), kit, need, build, packing, inside))
    return _merged(market, sorted(found, key=lambda row: (row.need_day, int(pieces.job[row.pieces[0].piece]))))


def _merged(market: Market, found: Iterable[MissingKit]) -> list[MissingKit]:
    """Put missing kits together for which the same parts come in time, and the same lots live long enough."""
    supplies = market.plan.supplies
    classes: dict[tuple[object, ...], list[MissingKit]] = defaultdict(list)
    days: dict[tuple[tuple[int, int], ...], tuple[list[int], list[int]]] = {}
    for row in found:
        key = tuple(sorted(row.inside.items()))
        if key not in days:
            comes = {market.arrival(quote) for part in row.inside for quote in market.row(part).quotes}
            comes |= {market.row(part).arrives_on for part in row.inside}
            ends = {int(supplies.last_day[lot]) for part in row.inside for lot in market.free_lots(part)}
            days[key] = sorted(comes), sorted(ends)
        comes_on, ends_on = days[key]
        in_time = sum(market.packed_on(day, row.packing) <= row.need_day for day in comes_on)
        late = market.row(row.kit).limit > row.need_day
        classes[row.kit, key, in_time, late, bisect_left(ends_on, row.build_day)].append(row)
    return [
        replace(alike[0], pieces=tuple(piece for row in alike for piece in row.pieces)) for alike in classes.values()
    ]


def openable_kits(market: Market) -> dict[int, dict[int, int]]:
    """Kits with a price that surely hold parts of which some are missing: those parts, by kit.

    Parameters
    ----------
    market : what can be bought, and what lies there free
    """
    return _openable(market, kits_by_part(market.structure))


def openable_assemblies(market: Market) -> dict[int, dict[int, int]]:
    """Next-higher assemblies with a price that surely hold parts of which some are missing: those parts, by assembly.

    Parameters
    ----------
    market : what can be bought, and what lies there free
    """
    return _openable(market, assemblies_by_part(market.structure))


def _openable(market: Market, holders: Mapping[int, Sequence[tuple[int, int]]]) -> dict[int, dict[int, int]]:
    short = [item for item, row in market.listed.items() if row.short and not market.structure.is_kit[item]]
    found: dict[int, dict[int, int]] = defaultdict(dict)
    for item in short:
        for whole, each in holders.get(item, ()):
            if market.structure.items[whole].cleanliness == "normal":
                quotes = market.row(whole).quotes
                if market.row(item).quotes and any(market.arrival(q) <= market.row(item).limit for q in quotes):
                    found[whole][item] = each
    return dict(found)


@dataclass(frozen=True, slots=True)
class PriceStep:
    """Packs of one quote at one price: from ``low`` to ``high``, both of them whole multiples."""

    quote: PackOffer
    low: int
    high: int
    price: Decimal


def price_steps(quote: PackOffer, most: int) -> list[PriceStep]:
    """The pack counts worth ordering for up to ``most`` millionths, price break by price break.

    Parameters
    ----------
    quote : what a supplier offers
    most : millionths that could be needed
    """
    enough, multiple = quote.packs_for(most), quote.multiple_packs
    starts = [1, *(step.from_packs for step in quote.breaks[1:])]
    steps = []
    for place, (start, step) in enumerate(zip(starts, quote.breaks, strict=True)):
        low = -(-max(start, quote.minimum_packs) // multiple) * multiple
        stop = starts[place + 1] - 1 if place + 1 < len(starts) else max(enough, low)
        high = min(stop, max(enough, low)) // multiple * multiple
        if step.price is not None and low <= high:
            steps.append(PriceStep(quote, low, high, step.price))
    return steps


def cheapest(quotes: tuple[PackOffer, ...], net: int) -> Decimal | None:
    """The lowest total for ``net`` millionths, price breaks above the need included; None when nobody quotes.

    Parameters
    ----------
    quotes : those that may be ordered from
    net : millionths that are needed
    """
    totals = [
        step.price * max(step.low, quote.packs_for(net))
        for quote in quotes
        for step in price_steps(quote, net)
        if max(step.low, quote.packs_for(net)) <= step.high
    ]
    return min(totals, default=None)
